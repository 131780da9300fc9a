/* A visit as it is written: steps in the order of work, each with what was seen. Pure: no clock, no database.
   What is claimed follows from what was seen; the server judges. Times are the phone's own, put right when sent. */

export const FORM = 1; // the form of a kept visit; a later version of this file reads older ones

export function newDraft({ id, pack, kind, person, at }) {
  return {
    form: FORM,
    id,
    boiler: pack.boiler.id,
    address: pack.boiler.address,
    name: pack.boiler.name,
    kind,
    person: person.id,
    begunAt: at,
    takenAt: pack.as_of,
    knownVisits: pack.visits.map((v) => v.id),
    corrects: null,
    reason: "",
    people: [{ user: person.id }],
    arrival: "",
    callForHeat: null,
    leftAs: "",
    steps: (pack.sheets[kind] ?? pack.sheets[""]).map((line, number) => stepOfLine(line, number, pack)),
    leaving: {},
    told: [],
    gaps: {},
    note: "",
    photos: [],
    seq: 0,
    state: "open",
    faults: [],
  };
}

const roleOf = (pack, position) => pack.places.find((p) => p.id === position)?.role ?? "";

function stepOfLine(line, number, pack) {
  const act = line.procedure ? "test" : "repair";
  return {
    id: `s${number}`,
    act,
    code: line.procedure,
    position: line.position,
    role: roleOf(pack, line.position),
    group: line.group,
    phase: line.phase,
    why: line.why,
    level: line.level,
    deficiency: line.deficiency,
    firstAct: line.first_act,
    answers: {},
    seen: null,
    excuse: "",
    at: null,
    order: null,
  };
}

/** Add a step out of order. `step` has at least act, and what that act needs. */
export function addStep(draft, step) {
  draft.added = (draft.added ?? draft.steps.length) + 1; // never counted down, so no id comes twice
  const added = {
    id: `x${draft.added}-${draft.seq}`,
    group: null,
    phase: "",
    why: "",
    answers: {},
    seen: null,
    excuse: "",
    at: null,
    order: null,
    ...step,
  };
  draft.steps.push(added);
  return added;
}

/** Whether a question must be answered at this place before a test is done. */
export const isNeeded = (question, step) => question.required || (question.needed_on ?? []).includes(step.role);

/** The questions of a step in the order in which things are seen: what is needed first, then the rest. */
export function questionsOf(step, procedure) {
  if (!procedure) return [];
  const outcome = procedure.outcome ? [{ ...procedure.outcome, name: "", type: "outcome", required: true }] : [];
  const needed = procedure.readings.filter((r) => isNeeded(r, step));
  return [...outcome, ...needed, ...procedure.readings.filter((r) => !isNeeded(r, step))];
}

export const isAnswered = (step, question) =>
  question.type === "outcome" ? step.seen !== null : question.name in step.answers;

/** The next needed question that has no answer; null where the step needs nothing more. */
export function nextQuestion(step, procedure) {
  if (step.excuse || step.claimed || isRefuted(step, procedure)) return null;
  return questionsOf(step, procedure).find((q) => isNeeded(q, step) && !isAnswered(step, q)) ?? null;
}

export const isDone = (step) => step.order !== null;

/** Whether an answer is not what a pass needs. Numbers are held against their limits elsewhere: they claim nothing. */
export function differs(question, value, step) {
  if (question.type === "outcome") return value === false;
  const expects = (question.needed_on ?? []).includes(step.role) ? ["yes"] : (question.expects ?? []);
  if (!expects.length || value === undefined) return false;
  const word = question.type === "bool" ? (value ? "yes" : "no") : value;
  return !expects.includes(word);
}

/** The answers so far that are not what a pass needs, needed or not. */
export function differing(step, procedure) {
  return questionsOf(step, procedure).filter((q) =>
    q.type === "outcome" ? step.seen === false : q.name in step.answers && differs(q, step.answers[q.name], step),
  );
}

/** Whether what was seen already says that the device did not act, so that nothing more is needed. */
export function isRefuted(step, procedure) {
  return differing(step, procedure).some((q) => isNeeded(q, step) && (q.type === "outcome" || q.otherwise === "fail"));
}

const hasAnswers = (step) => step.seen !== null || Object.keys(step.answers).length > 0;

/** What the step claims: fail where something was seen not to act, asked for or not, inconclusive where it was no test or was
    broken off. What a posted step claimed stands until one of its answers is changed. */
export function claimOf(step, procedure) {
  if (step.claimed) return step.claimed;
  if (step.excuse && !hasAnswers(step)) return "not_done";
  const wrong = differing(step, procedure);
  if (wrong.some((q) => q.type === "outcome" || q.otherwise === "fail")) return "fail";
  if (wrong.some((q) => isNeeded(q, step)) || step.excuse || nextQuestion(step, procedure)) return "inconclusive";
  return "pass";
}

/** Note an answer. A step takes its time and its place in the visit from its first answer. */
export function answer(draft, step, question, value, at) {
  if (question.type === "outcome") step.seen = value;
  else step.answers[question.name] = value;
  step.trail = [...(step.trail ?? []).filter((name) => name !== question.name), question.name];
  step.excuse = "";
  delete step.claimed;
  placeStep(draft, step, at);
}

/** Note why a test was not done, or not to its end: what was seen until then stays, for it may be bad news. */
export function excuse(draft, step, why, at) {
  step.excuse = why;
  delete step.claimed;
  placeStep(draft, step, at);
}

/** Pin the first act of an answer that makes a hold, and take it off when that answer is put right. */
export function pinAct(step, question, isBad) {
  step.pins = { ...step.pins, [question.name]: isBad ? question.first_act : "" };
}

/** The first acts that a step's answers call for, each until its own answer is taken back or put right. */
export const pinsOf = (step) => [step.pinned, ...Object.values(step.pins ?? {})].filter(Boolean);

export function placeStep(draft, step, at) {
  draft.latest = step.id;
  if (step.order === null) {
    step.order = step.postedOrder ?? draft.seq;
    step.at = step.postedOrder === undefined ? at : Date.parse(step.postedAt);
  }
  draft.seq += 1;
}

/** The answer of a step that was given last; null where it has none. */
export function newestAnswer(step, procedure) {
  const answered = questionsOf(step, procedure).filter((q) => isAnswered(step, q));
  const latest = (step.trail ?? []).findLast((name) => answered.some((q) => q.name === name));
  return answered.find((q) => q.name === latest) ?? answered.at(-1) ?? null;
}

/** Take back an answer of a step, or its excuse; without any left it is open again. */
export function takeBack(step, question) {
  delete step.claimed;
  if (!step.excuse && question && step.pins) delete step.pins[question.name];
  if (step.excuse) step.excuse = "";
  else if (question?.type === "outcome") step.seen = null;
  else if (question) delete step.answers[question.name];
  if (!step.excuse && !hasAnswers(step)) {
    step.order = null;
    step.at = null;
  }
}

export const doneSteps = (draft) => draft.steps.filter(isDone).sort((a, b) => a.order - b.order);

/** The next step in the order of work that nobody touched, after a step if one is given; null where there is none.
    What was passed over is not come back to: before leaving it is listed. */
export const nextStep = (draft, after) => {
  const open = draft.steps.filter((s) => !isDone(s) && s.act === "test");
  const from = after ? draft.steps.indexOf(after) : -1;
  return open.find((s) => draft.steps.indexOf(s) > from) ?? null;
};

/** The tests of a place still open as found: cleaning or replacing now would destroy what they could show. */
export const openAsFound = (draft, position) =>
  draft.steps.filter((s) => s.act === "test" && s.position === position && s.phase !== "as_left" && !isDone(s));

function entryOf(step, procedures, instant) {
  const time = { performed_at: instant };
  if (step.act === "test") {
    const outcome = claimOf(step, procedures[step.code]);
    const phase = step.postedPhase ? { phase: step.postedPhase } : {};
    const entry = { test: step.code, position: step.position, ...phase, outcome, ...time };
    if (outcome === "not_done") return { ...entry, why: step.excuse };
    return Object.keys(step.answers).length ? { ...entry, readings: step.answers } : entry;
  }
  if (step.act === "observe") {
    const phase = step.postedPhase ? { phase: step.postedPhase } : {};
    const readings = Object.keys(step.answers).length ? { ...phase, readings: step.answers } : phase;
    return { observe: step.code, ...(step.position ? { position: step.position } : {}), ...readings, ...time };
  }
  if (step.act === "action") return { action: step.code, position: step.position, ...time };
  if (step.act === "set") return { set: { position: step.position, ...step.answers }, ...time };
  if (step.act === "remove") return { remove: { position: step.position, ...reasonOf(step) }, ...time };
  return {
    [step.act]: {
      position: step.position,
      ...reasonOf(step),
      with: { ...(step.device ? { id: step.device } : {}), kind: step.kind, ...step.answers },
    },
    ref: step.id,
    ...time,
  };
}

const reasonOf = (step) => (step.reason ? { reason: step.reason } : {});

/** An instant as the API takes it, with the phone's clock put right. */
export const instantOf = (at, skew) => new Date(at + skew).toISOString();

/** The instants of the steps done. None is earlier than the one before it. In a correction those that were posted
    stay to the letter, and what is added was done with what stands before it: that visit, not today. */
function instantsOf(draft, skew) {
  let latest = draft.begunAt;
  let before = draft.performedAt;
  return doneSteps(draft).map((step) => {
    latest = Math.max(latest, step.at);
    before = draft.corrects ? (step.postedAt ?? before) : instantOf(latest, skew);
    return before;
  });
}

/** Count a name that was typed under who was told among those told. */
export function keepTypedName(draft) {
  const name = (draft.typedName ?? "").trim();
  if (name && !draft.told.some((t) => t.name === name)) draft.told.push({ name, how: "in person" });
  delete draft.typedName;
}

/** The visit as it is posted, with its entries in the order done. */
export function visitBody(draft, procedures, skew) {
  const instants = instantsOf(draft, skew);
  const entries = doneSteps(draft).map((step, number) => entryOf(step, procedures, instants[number]));
  const first = doneSteps(draft)[0];
  const gaps = Object.entries(draft.gaps).map(([role, given]) => ({ role, ...given }));
  const told = draft.told.length ? { told: draft.told } : {};
  const leaving = { ...draft.leaving, ...told };
  return {
    id: draft.postedAs ?? draft.id,
    boiler: draft.boiler,
    kind: draft.kind,
    performed_at: draft.corrects
      ? draft.performedAt
      : instantOf(Math.min(draft.begunAt, first?.at ?? draft.begunAt), skew),
    people: draft.people,
    entries,
    ...(draft.callForHeat === null ? {} : { call_for_heat: draft.callForHeat }),
    ...(draft.arrival ? { state_on_arrival: draft.arrival } : {}),
    ...(draft.leftAs ? { left_as: draft.leftAs } : {}),
    ...(Object.keys(leaving).length ? { leaving_checks: leaving } : {}),
    ...(gaps.length ? { register_answers: gaps } : {}),
    ...(draft.photos?.length ? { photographs: photographsOf(draft) } : {}),
    ...(draft.note ? { note: draft.note } : {}),
    ...(draft.corrects ? { corrects: draft.corrects, reason: draft.reason } : {}),
  };
}

/** The photographs as they are declared: of the entry that their step has become, else of the visit as a whole. */
function photographsOf(draft) {
  const numbers = new Map(doneSteps(draft).map((step, number) => [step.id, number]));
  return draft.photos.map(({ step, ...photo }) => (numbers.has(step) ? { ...photo, entry: numbers.get(step) } : photo));
}

/** Make a draft a correction of what an earlier try of it has stored: it was changed before that answer came. */
export function correctStored(draft, stored, newId) {
  doneSteps(draft).forEach((step) => {
    const entry = stored.entries[draft.triedSteps?.indexOf(step.id) ?? -1];
    if (entry) step.postedAt = entry.performed_at;
  });
  Object.assign(draft, { corrects: stored.id, performedAt: stored.performed_at, postedAs: newId });
}

/** Posted answers about the register as a draft holds them: by role, and a role's further ones beside its first. */
function gapsOf(answers) {
  const gaps = {};
  answers.forEach(({ role, answer: said, kind, reason }, number) => {
    const given = { answer: said, ...(kind ? { kind } : {}), ...(reason ? { reason } : {}) };
    if (role in gaps) gaps[`${role} ${number}`] = { role, ...given };
    else gaps[role] = given;
  });
  return gaps;
}

/** A draft that restates a posted visit, to be corrected. Times stay as they were posted, whatever the phone's clock. */
export function draftOfFacts({ id, facts, pack, person, kinds, skew }) {
  const draft = newDraft({ id, pack, kind: facts.visit.kind, person, at: Date.parse(facts.visit.performed_at) - skew });
  draft.corrects = facts.visit.id;
  draft.performedAt = facts.visit.performed_at;
  draft.people = facts.visit.people.map((p) => (p.user ? { user: p.user } : { name: p.name }));
  draft.arrival = facts.visit.state_on_arrival;
  draft.leftAs = facts.visit.left_as;
  draft.callForHeat = facts.call_for_heat;
  const { told = [], ...leaving } = facts.leaving_checks;
  Object.assign(draft, { leaving, told, gaps: gapsOf(facts.register_answers), note: facts.note, steps: [] });
  for (const entry of facts.entries) {
    const step = addStep(draft, {
      role: roleOf(pack, entry.position),
      act: entry.act,
      code: entry.code,
      position: entry.position,
      answers: ["test", "observe"].includes(entry.act) ? entry.readings : entry.values,
      excuse: entry.why,
      reason: entry.reason,
      device: entry.device,
      kind: kinds[entry.device] ?? "",
    });
    if (entry.act === "test" && entry.outcome === "fail") step.seen = false;
    else if (entry.act === "test" && entry.outcome === "pass") step.seen = true;
    placeStep(draft, step, Date.parse(entry.performed_at) - skew);
    Object.assign(step, { postedAt: entry.performed_at, postedOrder: step.order, postedPhase: entry.phase });
    if (entry.act === "test") step.claimed = entry.outcome;
  }
  delete draft.latest;
  draft.photos = facts.photographs.map(({ sha256, size, type, entry }) => ({
    sha256,
    size,
    type,
    step: entry === null ? null : draft.steps[entry].id,
  }));
  return draft;
}
