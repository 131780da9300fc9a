/* Before leaving: how it is left, the checks, who was told, and what stands against firing it. */

import { keptPack } from "./copies.js";
import { ask, clockSkew, NoSignal } from "./device.js";
import { bigButton, h, onceTouched, say } from "./dom.js";
import { doneSteps, keepTypedName, visitBody } from "./draft.js";
import { finishDraft, postWaiting } from "./outbox.js";
import { changeDraft, deleteDraft, readDraft } from "./visits.js";
import { dropPhotos, photoButton, photoLines } from "./photos.js";
import { meanwhilePart, pinnedActs, stepTitle } from "./visit_screen.js";

export async function showLeave(app, id) {
  const draft = await readDraft(id);
  if (!draft || draft.state !== "open") return [h("p.notice", {}, say("visit_gone"))];
  const pack = await keptPack(app, draft.boiler);
  const open = draft.steps.filter((s) => s.order === null && s.act === "test");
  return [
    h("p.where", {}, h("a", { href: `#/visit/${id}` }, say("back")), ` ${draft.address} · ${draft.name}`),
    h("h1", {}, say("before_leaving")),
    pinnedActs(app, draft, pack),
    meanwhilePart(draft, pack),
    open.length
      ? h(
          "details.notice",
          {},
          h("summary", {}, say("not_looked_at", { count: open.length })),
          h(
            "ul",
            {},
            open.map((s) => h("li", {}, stepTitle(app, s, pack))),
          ),
        )
      : null,
    app.isTechnician() ? checksPart(app, draft) : null,
    leftPart(app, draft),
    toldPart(app, draft, pack),
    draft.corrects ? reasonPart(app, draft) : null,
    photoButton(app, draft, null),
    photoLines(app, draft, null),
    verdictPart(app, draft),
    doneSteps(draft).length || draft.corrects
      ? bigButton(say("finish"), () => finish(app, draft), { class: "answer main" })
      : h("p.warn", {}, say("nothing_noted")),
    h("button.quiet", { type: "button", onclick: onceTouched(() => remove(app, draft)) }, say("delete_it")),
  ];
}

const keep = async (app, draft, change) => {
  app.saved(await changeDraft(draft.id, change));
  app.refresh();
};

function checksPart(app, draft) {
  const check = ([code, words]) => {
    const chip = (value, text) =>
      h(
        "button.chip",
        {
          type: "button",
          "aria-pressed": String(draft.leaving[code] === value),
          onclick: onceTouched(() => keep(app, draft, (d) => (d.leaving[code] = value))),
        },
        text,
      );
    return h("div.check", {}, h("span", {}, words), h("div.chips", {}, chip(true, say("yes")), chip(false, say("no"))));
  };
  return h(
    "section",
    {},
    h("h2", {}, say("leaving_checks")),
    Object.entries(app.words.leaving_checks)
      .filter(([code]) => code !== "told")
      .map(check),
  );
}

function leftPart(app, draft) {
  const chip = (code) =>
    h(
      "button.chip",
      {
        type: "button",
        "aria-pressed": String(draft.leftAs === code),
        onclick: onceTouched(() => keep(app, draft, (d) => (d.leftAs = d.leftAs === code ? "" : code))),
      },
      say(`left_${code}`),
    );
  return h("section", {}, h("h2", {}, say("left_as")), h("div.chips", {}, app.words.left_as.map(chip)));
}

function toldPart(app, draft, pack) {
  const names = [...new Set([...(pack?.people ?? []).map((p) => p.name), ...draft.told.map((t) => t.name)])];
  const isTold = (name) => draft.told.some((t) => t.name === name);
  const toggle = (name) =>
    keep(
      app,
      draft,
      (d) => (d.told = isTold(name) ? d.told.filter((t) => t.name !== name) : [...d.told, { name, how: "in person" }]),
    );
  // Kept as it is typed: Finish takes it along, also where nobody touched "Keep".
  const other = h("input", {
    type: "text",
    maxLength: 200,
    value: draft.typedName ?? "",
    "aria-label": say("somebody_else"),
    oninput: async () => app.saved(await changeDraft(draft.id, (d) => (d.typedName = other.value))),
  });
  return h(
    "section",
    {},
    h("h2", {}, say("who_was_told")),
    h(
      "div.chips",
      {},
      names.map((n) =>
        h(
          "button.chip",
          { type: "button", "aria-pressed": String(isTold(n)), onclick: onceTouched(() => toggle(n)) },
          n,
        ),
      ),
    ),
    h(
      "div.line",
      {},
      other,
      h(
        "button.small",
        { type: "button", onclick: () => keep(app, draft, keepTypedName) },
        say("keep_name"),
      ),
    ),
  );
}

function reasonPart(app, draft) {
  const text = h("input", {
    type: "text",
    maxLength: 400,
    value: draft.reason,
    onchange: () => keep(app, draft, (d) => (d.reason = text.value.trim())),
  });
  return h("label.field", {}, say("why_corrected"), text);
}

/** What stands against firing it, as the server would answer now; "to be judged" where there is no signal. */
function verdictPart(app, draft) {
  const box = h(
    "section.verdict",
    { "aria-live": "polite" },
    h("h2", {}, say("what_stands_against")),
    h("p", {}, say("to_be_judged")),
  );
  const judge = async () => {
    const text = JSON.stringify(visitBody(draft, app.procedures, clockSkew()));
    try {
      const answer = await ask("visits/check/", { method: "POST", text });
      if (answer.status === 200)
        box.replaceChildren(h("h2", {}, say("what_stands_against")), ...answerPart(answer.body, app));
      else if (answer.body?.errors?.length)
        box.replaceChildren(
          h("h2", {}, say("what_stands_against")),
          h("p", {}, say("to_be_judged")),
          h(
            "ul",
            {},
            answer.body.errors.map((e) => h("li", {}, e.message)),
          ),
        );
    } catch (error) {
      if (!(error instanceof NoSignal)) throw error;
    }
  };
  if (doneSteps(draft).length) judge();
  return box;
}

/** The server's answer: what stands against firing, what holds, what was not looked at. */
export function answerPart(answer, app) {
  const readiness = answer.readiness;
  const list = (items) =>
    h(
      "ul",
      {},
      items.map((i) => h("li", {}, i.sentence)),
    );
  const questions = answer.verdicts.filter((v) => v.question);
  return [
    h("p.answer-head", {}, readiness ? say(`firing_${readiness.answer}`) : say("firing_not_asked")),
    readiness?.missing.length ? list(readiness.missing) : null,
    answer.standing.after === "hold" ? h("p.first", {}, answer.standing.then) : null,
    questions.length
      ? h(
          "section",
          {},
          h("h2", {}, say("questions")),
          h(
            "ul",
            {},
            questions.map((v) => h("li", {}, v.question)),
          ),
        )
      : null,
    answer.waits_for_people?.length || answer.waits_for_second ? h("p.notice", {}, say("waits_for_second")) : null,
    answer.newer_facts_stand ? h("p.notice", {}, say("newer_facts")) : null,
    readiness?.not_looked_at.length
      ? h(
          "details",
          {},
          h("summary", {}, say("not_looked_at", { count: readiness.not_looked_at.length })),
          list(readiness.not_looked_at),
        )
      : null,
    h("p.advice", {}, answer.caution ?? app.words.caution),
  ];
}

async function finish(app, draft) {
  if (draft.corrects && !draft.reason) return app.tell(say("reason_needed"));
  const finished = await finishDraft(draft.id, app.procedures, Date.now());
  app.saved(finished);
  await finished.saved;
  postWaiting(app.procedures).then(
    () => app.refresh(),
    (error) => app.failed(error),
  );
  app.go(`#/visit/${draft.id}`);
}

async function remove(app, draft) {
  if (!confirm(say("delete_sure"))) return;
  await dropPhotos(draft);
  await deleteDraft(draft.id);
  app.go("#/");
}
