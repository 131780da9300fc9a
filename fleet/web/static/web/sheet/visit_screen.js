/* A visit: what is to be done in order, what was seen, and the way to the end. */

import { keptPack } from "./copies.js";
import { bigButton, dayAndTime, h, onceTouched, plain, say, showNumber } from "./dom.js";
import { claimOf, doneSteps, isDone, nextStep, pinsOf } from "./draft.js";
import { reopenDraft } from "./outbox.js";
import { dropPhotos } from "./photos.js";
import { changeDraft, deleteDraft, readDraft } from "./visits.js";
import { readingsText } from "./boiler_screen.js";
import { answerPart } from "./leave_screen.js";

export async function showVisit(app, id) {
  const draft = await readDraft(id);
  if (!draft || draft.person !== app.person()?.id)
    return [h("h1", {}, say("visit")), h("p.notice", {}, say("visit_gone"))];
  const pack = await keptPack(app, draft.boiler);
  const head = [
    h("h1", {}, `${draft.address} · ${draft.name}`),
    h(
      "p.quiet",
      {},
      say(`kind_${draft.kind}`),
      " · ",
      dayAndTime(draft.begunAt, pack?.boiler.zone),
      draft.corrects ? ` · ${say("correction")}` : "",
    ),
  ];
  if (draft.state === "posted") return [...head, ...postedPart(draft, app)];
  if (draft.state !== "open") return [...head, ...waitingPart(draft, app)];
  return [
    ...head,
    h("p.advice", {}, app.words.caution),
    draft.saidBy ? h("p.notice", {}, say("said_by", { name: draft.saidBy, entered: app.person().name })) : null,
    draft.saidBy ? h("p.caution", {}, say("telephone_caution")) : null,
    pinnedActs(app, draft, pack),
    meanwhilePart(draft, pack),
    mainButton(app, draft),
    arrivalPart(app, draft),
    ...groupsPart(app, draft, pack),
    h(
      "nav.foot",
      {},
      h("a.foot-link", { href: `#/visit/${id}/add` }, say("add")),
      h("a.foot-link", { href: `#/visit/${id}/leave` }, say("before_leaving")),
    ),
  ];
}

/** What to do first about a hold, in the language of the words where they have it. */
export function firstActOf(app, pack, { deficiency, act }) {
  const rule = pack.open.find((d) => d.id === deficiency)?.rule;
  return app.words.first_acts[rule] ?? act;
}

/** The first acts that stay pinned: of holds met on arrival, and of what was just seen. */
export function pinnedActs(app, draft, pack) {
  const seen = draft.steps.flatMap(pinsOf);
  const met = (pack?.first ?? []).map((f) => firstActOf(app, pack, f));
  const acts = [...new Set([...seen, ...met])];
  return acts.length
    ? h(
        "section.hold",
        { role: "alert" },
        h("h2", {}, say("first")),
        acts.map((a) => h("p.first", {}, a)),
      )
    : null;
}

/** What others posted since this visit was begun: shown, never merged. */
export function meanwhilePart(draft, pack) {
  const newer = (pack?.visits ?? []).filter(
    (v) =>
      v.id !== draft.id &&
      v.id !== draft.corrects &&
      draft.takenAt &&
      pack.as_of > draft.takenAt &&
      !draft.knownVisits?.includes(v.id),
  );
  if (!draft.knownVisits || !newer.length) return null;
  return h(
    "section.notice",
    {},
    h("h2", {}, say("meanwhile")),
    h(
      "ul",
      {},
      newer.map((v) =>
        h(
          "li",
          {},
          `${dayAndTime(v.performed_at, pack.boiler.zone)} · ${say(`kind_${v.kind}`)} · ${v.people.join(", ")}`,
        ),
      ),
    ),
  );
}

function mainButton(app, draft) {
  const next = nextStep(draft);
  if (!next)
    return bigButton(say("before_leaving"), () => app.go(`#/visit/${draft.id}/leave`), { class: "answer main" });
  return bigButton(
    say(doneSteps(draft).length ? "go_on" : "begin"),
    () => app.go(`#/visit/${draft.id}/step/${next.id}`),
    { class: "answer main" },
  );
}

function arrivalPart(app, draft) {
  if (!app.isTechnician()) return null;
  const set = (name, value) => async () => {
    app.saved(
      await changeDraft(draft.id, (d) => (d[name] = d[name] === value ? (name === "arrival" ? "" : null) : value)),
    );
    app.refresh();
  };
  const chip = (name, value, text) =>
    h(
      "button.chip",
      { type: "button", "aria-pressed": String(draft[name] === value), onclick: onceTouched(set(name, value)) },
      text,
    );
  return h(
    "details",
    { open: !draft.arrival },
    h("summary", {}, say("on_arrival"), draft.arrival ? `: ${say(`arrival_${draft.arrival}`)}` : ""),
    h(
      "div.chips",
      {},
      app.words.arrivals.map((a) => chip("arrival", a, say(`arrival_${a}`))),
    ),
    h("p", {}, say("call_for_heat")),
    h("div.chips", {}, chip("callForHeat", true, say("yes")), chip("callForHeat", false, say("no"))),
  );
}

function groupsPart(app, draft, pack) {
  const groups = app.words.groups;
  const listed = groups
    .map((g) => ({ ...g, steps: draft.steps.filter((s) => s.group === g.number) }))
    .filter((g) => g.steps.length);
  const added = draft.steps.filter((s) => s.group === null);
  return [
    ...listed.map((g) =>
      h(
        "section",
        {},
        h("h2", {}, g.title),
        h("p.quiet", {}, g.always),
        g.steps.map((s) => stepLine(app, draft, s, pack)),
      ),
    ),
    added.length
      ? h(
          "section",
          {},
          h("h2", {}, say("added")),
          added.map((s) => stepLine(app, draft, s, pack)),
        )
      : null,
  ];
}

function stepLine(app, draft, step, pack) {
  return h(
    "a.row",
    { href: `#/visit/${draft.id}/step/${step.id}`, class: isDone(step) ? "row seen" : "row" },
    h("strong", {}, stepTitle(app, step, pack)),
    isDone(step) ? h("span", {}, stepText(app, step)) : h("span.quiet", {}, step.why),
  );
}

export function stepTitle(app, step, pack) {
  const place = pack?.places.find((p) => p.id === step.position)?.name ?? "";
  const what =
    {
      test: app.procedures[step.code]?.name,
      observe: app.observations[step.code]?.name,
      action: app.actions[step.code]?.name,
      repair: say("put_right"),
    }[step.act] ?? say(`act_${step.act}`);
  return [place, what].filter(Boolean).join(" · ");
}

/** What was seen in a step, in the words of its answers. */
export function stepText(app, step) {
  const procedure = step.act === "test" ? app.procedures[step.code] : null;
  const said = [];
  if (procedure?.outcome && step.seen !== null) said.push(step.seen ? procedure.outcome.yes : procedure.outcome.no);
  for (const [name, value] of Object.entries(step.answers)) {
    const question = procedure?.readings.find((r) => r.name === name);
    if (question?.type === "bool") said.push(value ? question.yes : question.no);
    else if (question?.type === "number") said.push(`${plain(name)} ${showNumber(value, question.unit)}`);
    else if (question?.type === "choice") said.push(question.choices.find((c) => c.code === value)?.says ?? value);
    else said.push(readingsText({ [name]: value }));
  }
  if (step.excuse) said.push(`${say("could_not_try")}: ${say(`why_${step.excuse}`)}`);
  if (procedure && !said.length) said.push(plain(claimOf(step, procedure)));
  return said.join(" · ");
}

function waitingPart(draft, app) {
  const reopen = async () => {
    const reopened = await reopenDraft(draft.id);
    if (!reopened) return app.tell(say("being_sent"));
    app.saved(reopened);
    app.refresh();
  };
  const faults = draft.faults.map((f) =>
    h("li", {}, f.step ? h("a", { href: `#/visit/${draft.id}/step/${f.step}` }, f.message) : f.message),
  );
  return [
    draft.clockWasOff
      ? h("p.notice", {}, say("clock_was_off", { hours: (Math.abs(draft.clockWasOff) / 3600000).toFixed(1) }))
      : null,
    draft.state === "refused"
      ? h(
          "section.hold",
          { role: "alert" },
          h("h2", {}, say("refused")),
          draft.refusedWith === 404 ? h("p", {}, say("boiler_gone")) : null,
          h("ul", {}, faults),
        )
      : h("p.notice", {}, say("waits_for_signal")),
    h(
      "ul",
      {},
      doneSteps(draft).map((s) => h("li", {}, `${stepTitle(app, s, null)}: ${stepText(app, s)}`)),
    ),
    bigButton(say("change_it"), reopen),
    draft.state === "refused" ? bigButton(say("delete_it"), () => confirmDelete(app, draft)) : null,
  ];
}

async function confirmDelete(app, draft) {
  if (!confirm(say("delete_sure"))) return;
  await dropPhotos(draft);
  await deleteDraft(draft.id);
  app.go("#/");
}

function postedPart(draft, app) {
  return [
    h("p.notice", {}, say("posted")),
    draft.clockWasOff
      ? h("p.notice", {}, say("clock_was_off", { hours: (Math.abs(draft.clockWasOff) / 3600000).toFixed(1) }))
      : null,
    answerPart(draft.answer, app),
    bigButton(say("remove_from_phone"), async () => {
      await deleteDraft(draft.id);
      app.go("#/");
    }),
  ];
}
