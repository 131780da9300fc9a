/* One thing at a time: the caution, the place, one question, big answers in the lower half. */

import { keptPack } from "./copies.js";
import { bigButton, h, onceTouched, plain, say, showNumber } from "./dom.js";
import {
  answer,
  differs,
  differing,
  excuse,
  isDone,
  isNeeded,
  newestAnswer,
  nextQuestion,
  nextStep,
  openAsFound,
  pinAct,
  questionsOf,
  takeBack,
} from "./draft.js";
import { isOverLimit, numberPart } from "./number_part.js";
import { changeDraft, readDraft } from "./visits.js";
import { photoButton, photoLines } from "./photos.js";
import { firstActOf, pinnedActs, stepText, stepTitle } from "./visit_screen.js";

export async function showStep(app, id, stepId, asked) {
  const draft = await readDraft(id);
  const step = draft?.steps.find((s) => s.id === stepId);
  if (!step || draft.state !== "open") return [h("p.notice", {}, say("visit_gone"))];
  const pack = await keptPack(app, draft.boiler);
  const view = {
    app,
    draft,
    step,
    pack,
    place: pack?.places.find((p) => p.id === step.position),
    procedure: app.procedures[step.code],
  };
  const question = asked
    ? questionsOf(step, view.procedure).find((q) => (q.name || "outcome") === asked)
    : step.act === "test"
      ? nextQuestion(step, view.procedure)
      : null;
  return [
    h("p.where", {}, h("a", { href: `#/visit/${id}` }, say("back")), ` ${draft.address} · ${draft.name}`),
    pinnedActs(app, draft, pack),
    h("h1", {}, stepTitle(app, step, pack)),
    view.procedure?.cautions ? h("p.caution", {}, view.procedure.cautions) : null,
    step.firstAct
      ? h("p.caution", {}, pack ? firstActOf(app, pack, { ...step, act: step.firstAct }) : step.firstAct)
      : null,
    step.why ? h("p.quiet", {}, step.why) : null,
    secondPerson(view),
    stepsOfWork(view.procedure),
    notedPart(view),
    question ? questionPart(view, question) : donePart(view),
  ];
}

function stepsOfWork(procedure) {
  if (!procedure?.steps.length) return null;
  return h(
    "details",
    {},
    h("summary", {}, say("how")),
    h(
      "ol",
      {},
      procedure.steps.map((s) => h("li", {}, s)),
    ),
  );
}

/** Where a test takes two, who is the other one is asked before it, once a visit. */
function secondPerson({ app, draft, procedure }) {
  if (!procedure || procedure.people < 2 || draft.people.length > 1) return null;
  const name = h("input", { type: "text", maxLength: 200, "aria-label": say("second_person"), autocomplete: "name" });
  const keep = async () => {
    if (!name.value.trim()) return;
    app.saved(await changeDraft(draft.id, (d) => d.people.push({ name: name.value.trim() })));
    app.refresh();
  };
  return h(
    "section.notice",
    {},
    h("p", {}, say("takes_two")),
    h("div.line", {}, name, h("button.small", { type: "button", onclick: keep }, say("keep_name"))),
  );
}

function lastValue({ pack, step }, question) {
  const last = pack?.last.find((t) => t.position === step.position && t.procedure === step.code);
  const value = last?.readings[question.name];
  if (value === undefined) return null;
  const said =
    typeof value === "boolean"
      ? value
        ? question.yes
        : question.no
      : typeof value === "number"
        ? showNumber(value, question.unit)
        : (question.choices?.find((c) => c.code === value)?.says ?? value);
  return h("span.last", {}, say("last_time", { value: said }));
}

function questionPart(view, question) {
  const give = (value) => note(view, question, value);
  const answers =
    question.type === "number"
      ? numberPart(view, question, give)
      : question.type === "choice"
        ? question.choices.map((c) => bigButton(c.says, () => give(c.code)))
        : [bigButton(question.yes, () => give(true)), bigButton(question.no, () => give(false))];
  return h(
    "section.ask",
    {},
    h("h2", { id: "question" }, question.ask),
    h("p", {}, lastValue(view, question)),
    h("div.answers", { role: "group", "aria-labelledby": "question" }, answers),
    h(
      "div.line",
      {},
      isNeeded(question, view.step)
        ? couldNotTry(view)
        : h(
            "button.quiet",
            {
              type: "button",
              onclick: onceTouched(() => view.app.go(`#/visit/${view.draft.id}/step/${view.step.id}`)),
            },
            say("leave_out"),
          ),
      takeBackButton(view),
    ),
  );
}

async function note(view, question, value) {
  const { app, draft, step } = view;
  const at = Date.now();
  const isNumber = question.type === "number";
  const result = await changeDraft(draft.id, (d) => {
    const kept = d.steps.find((s) => s.id === step.id);
    answer(d, kept, question, value, at);
    pinAct(kept, question, isNumber ? isOverLimit(view, question, value) : differs(question, value, kept));
  });
  app.saved(result);
  moveOn(view, result.draft);
}

/** Go to the next question: of this step, or of the next one where this step is done and nothing bad was seen. */
function moveOn({ app, step, procedure }, draft) {
  const noted = draft.steps.find((s) => s.id === step.id);
  const isOver =
    noted && !nextQuestion(noted, procedure) && !differing(noted, procedure).length && !step.id.startsWith("x");
  const next = isOver ? nextStep(draft, noted) : null;
  if (next) app.go(`#/visit/${draft.id}/step/${next.id}`);
  else if (isOver) app.go(`#/visit/${draft.id}/leave`);
  else app.go(`#/visit/${draft.id}/step/${step.id}`);
}

/** What was noted last, on the step after it: it can be taken back until the next answer. */
function notedPart(view) {
  const { app, draft, step, pack } = view;
  const noted = draft.steps.find((s) => s.id === draft.latest);
  if (!noted || noted === step || noted.act !== "test" || isDone(step)) return null;
  const past = { ...view, step: noted, procedure: app.procedures[noted.code] };
  return h(
    "div.noted-last",
    { role: "status" },
    h("span", {}, `${stepTitle(app, noted, pack)}: ${stepText(app, noted)}`),
    h(
      "span.line",
      {},
      h("a.small", { href: `#/visit/${draft.id}/step/${noted.id}` }, say("more")),
      takeBackButton(past),
    ),
  );
}

function couldNotTry(view) {
  const { app, draft, step } = view;
  if (step.act !== "test") return null;
  const give = (why) => async () => {
    app.saved(
      await changeDraft(draft.id, (d) =>
        excuse(
          d,
          d.steps.find((s) => s.id === step.id),
          why,
          Date.now(),
        ),
      ),
    );
    app.refresh();
  };
  return h(
    "details.could-not",
    {},
    h("summary", {}, say("could_not_try")),
    app.words.why.map((why) => bigButton(say(`why_${why}`), give(why))),
  );
}

function takeBackButton(view) {
  const { app, draft, step, procedure } = view;
  if (!isDone(step) || step.act !== "test") return null; // what has no question is dropped whole
  const undo = async () => {
    app.saved(
      await changeDraft(draft.id, (d) => {
        const kept = d.steps.find((s) => s.id === step.id);
        takeBack(kept, newestAnswer(kept, procedure));
      }),
    );
    app.go(`#/visit/${draft.id}/step/${step.id}`);
  };
  return h("button.quiet", { type: "button", onclick: onceTouched(undo) }, say("take_back"));
}

/** After the last needed answer: what was noted, what more could be read, and the next step. */
function donePart(view) {
  const { app, draft, step, procedure } = view;
  if (step.act === "repair") return repairPart(view);
  const next = nextStep(draft, step);
  const wrong = procedure ? differing(step, procedure) : [];
  const more =
    step.act === "test" && !step.excuse
      ? questionsOf(step, procedure).filter((q) => !isNeeded(q, step) && !(q.name in step.answers))
      : [];
  return h(
    "section.ask",
    {},
    isDone(step) ? h("p.noted", { role: "status" }, stepText(app, step)) : couldNotTry(view),
    wrong.some((q) => q.otherwise === "not_a_test") ? h("p.warn", {}, say("no_test")) : null,
    more.length
      ? h(
          "details",
          { open: !isDone(step) },
          h("summary", {}, say("more_readings")),
          more.map((q) => h("a.row", { href: `#/visit/${draft.id}/step/${step.id}/${q.name}` }, q.ask)),
        )
      : null,
    h(
      "div.answers",
      {},
      next
        ? bigButton(say("next", { what: stepTitle(app, next, view.pack) }), () =>
            app.go(`#/visit/${draft.id}/step/${next.id}`),
          )
        : bigButton(say("before_leaving"), () => app.go(`#/visit/${draft.id}/leave`)),
    ),
    h(
      "div.line",
      {},
      photoButton(app, draft, step),
      takeBackButton(view),
      step.id.startsWith("x") ? dropButton(view) : null,
    ),
    photoLines(app, draft, step),
  );
}

function dropButton({ app, draft, step }) {
  const drop = async () => {
    app.saved(await changeDraft(draft.id, (d) => (d.steps = d.steps.filter((s) => s.id !== step.id))));
    app.go(`#/visit/${draft.id}`);
  };
  return h("button.quiet", { type: "button", onclick: onceTouched(drop) }, say("drop_it"));
}

/** A line to put right: what was done about it becomes an entry of its own. */
function repairPart({ app, draft, step, pack }) {
  const open = openAsFound(draft, step.position);
  return h(
    "section.ask",
    {},
    open.length
      ? h("p.warn", {}, say("prove_first", { what: open.map((s) => stepTitle(app, s, pack)).join(", ") }))
      : null,
    h(
      "div.answers",
      {},
      bigButton(say("what_was_done"), () => app.go(`#/visit/${draft.id}/add/action/${step.position ?? ""}`)),
      bigButton(say("replaced_it"), () => app.go(`#/visit/${draft.id}/add/replace/${step.position ?? ""}`)),
    ),
    h("p.quiet", {}, plain(step.level ?? "")),
  );
}
