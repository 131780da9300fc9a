/* What comes out of order: seen by eye, replaced, set, worked on, reset, read; one tap for the kind, one for the place. */

import { keptPack } from "./copies.js";
import { bigButton, h, onceTouched, plain, say, typedUnit, unitOf } from "./dom.js";
import { addStep, openAsFound, placeStep } from "./draft.js";
import { changeDraft, readDraft } from "./visits.js";
import { stepTitle } from "./visit_screen.js";

const KINDS_OF_ADDITION = ["observe", "reset", "action", "replace", "set", "test", "remove", "gap", "note"];
const DANGERS = [
  "gas_smell",
  "alarm_sounding",
  "glass_empty",
  "no_line_visible",
  "flooded",
  "leaking",
  "leaking_into_furnace",
  "spilling_after_five_minutes",
  "jumper_found",
  "reset_pressed",
];

export async function showAdd(app, id, kind, position) {
  const draft = await readDraft(id);
  if (!draft || draft.state !== "open") return [h("p.notice", {}, say("visit_gone"))];
  const pack = await keptPack(app, draft.boiler);
  const view = { app, draft, pack, place: pack?.places.find((p) => p.id === position) };
  const head = [
    h("p.where", {}, h("a", { href: `#/visit/${id}` }, say("back")), ` ${draft.address} · ${draft.name}`),
    h("h1", {}, say(kind ? `add_${kind}` : "add")),
  ];
  if (!pack) return [...head, h("p.notice", {}, say("boiler_not_here"))];
  if (!kind) return [...head, ...kindsPart(view)];
  const parts = {
    observe: observePart,
    reset: resetPart,
    action: actionPart,
    replace: devicePart,
    set: setPart,
    test: testPart,
    remove: removePart,
    gap: gapPart,
    note: notePart,
  };
  return [...head, ...[parts[kind]?.(view)].flat()];
}

const kindsPart = ({ app, draft, pack }) =>
  KINDS_OF_ADDITION.filter((k) => k !== "gap" || pack.not_on_record.length)
    .filter((k) => app.isTechnician() || ["observe", "reset", "test", "note"].includes(k))
    .map((k) => bigButton(say(`add_${k}`), () => app.go(`#/visit/${draft.id}/add/${k}`)));

/** Keep a step that is done as it is added, and go to it. */
async function keepStep(view, made, pinned) {
  const { app, draft } = view;
  let added;
  app.saved(
    await changeDraft(draft.id, (d) => {
      added = addStep(d, { role: view.pack.places.find((p) => p.id === made.position)?.role ?? "", ...made });
      if (pinned) added.pinned = pinned;
      if (made.act !== "test") placeStep(d, added, Date.now());
    }),
  );
  app.go(`#/visit/${draft.id}/step/${added.id}`);
}

function placesPart(view, kind, fits) {
  const { app, draft, pack } = view;
  return pack.places
    .filter(fits)
    .map((p) => bigButton(p.name, () => app.go(`#/visit/${draft.id}/add/${kind}/${p.id}`)));
}

function observePart(view) {
  const { app, pack, place } = view;
  const fitting = Object.values(app.observations).filter((o) => (place ? o.roles.includes(place.role) : true));
  const danger = (o) => (DANGERS.includes(o.code) ? DANGERS.indexOf(o.code) : DANGERS.length);
  fitting.sort((a, b) => danger(a) - danger(b));
  const give = (o) => {
    if (!o.roles.length) return keepStep(view, { act: "observe", code: o.code, position: null }, o.first_act);
    const at = place ? [place] : pack.places.filter((p) => o.roles.includes(p.role));
    if (at.length === 1) return keepStep(view, { act: "observe", code: o.code, position: at[0].id }, o.first_act);
    return app.choose(
      o.name,
      at.map((p) => [p.name, () => keepStep(view, { act: "observe", code: o.code, position: p.id }, o.first_act)]),
    );
  };
  const possible = fitting.filter((o) => !o.roles.length || pack.places.some((p) => o.roles.includes(p.role)));
  return possible.filter((o) => o.code !== "cause_not_found").map((o) => bigButton(o.name, () => give(o)));
}

function resetPart(view) {
  const roles = view.app.observations.reset_pressed.roles;
  const give = (place, code) =>
    keepStep(view, { act: "observe", code, position: place.id }, view.app.observations[code].first_act);
  return view.pack.places
    .filter((p) => roles.includes(p.role))
    .map((p) =>
      h(
        "section",
        {},
        h("h2", {}, p.name),
        ["lockout_found", "reset_pressed", "cause_found"]
          .filter((c) => !view.app.observations[c].roles.length || view.app.observations[c].roles.includes(p.role))
          .map((c) => bigButton(view.app.observations[c].name, () => give(p, c))),
      ),
    );
}

function warnAsFound({ app, draft, pack, place }) {
  const open = openAsFound(draft, place.id);
  return open.length
    ? h(
        "section.notice",
        {},
        h("p", {}, say("prove_first", { what: open.map((s) => stepTitle(app, s, pack)).join(", ") })),
        h("a.row", { href: `#/visit/${draft.id}/step/${open[0].id}` }, say("prove_it_now")),
      )
    : null;
}

function actionPart(view) {
  if (!view.place) return placesPart(view, "action", () => true);
  const give = (a) => keepStep(view, { act: "action", code: a.code, position: view.place.id });
  return [
    h("h2", {}, view.place.name),
    warnAsFound(view),
    Object.values(view.app.actions).map((a) => bigButton(a.name, () => give(a))),
  ];
}

function testPart(view) {
  if (!view.place) return placesPart(view, "test", (p) => p.kind);
  const fitting = Object.values(view.app.procedures).filter((p) => p.kinds.includes(view.place.kind));
  const give = (p) => keepStep(view, { act: "test", code: p.code, position: view.place.id, phase: "" });
  return [h("h2", {}, view.place.name), fitting.map((p) => bigButton(p.name, () => give(p)))];
}

/** Fields of values that are stamped or set: numbers in the chosen units, words as they stand. */
function valueFields(attributes, values) {
  return attributes.map((a) => {
    const typed = typedUnit(unitOf(a.name));
    const start = values[a.name];
    const field = h("input", {
      type: a.measured ? "number" : "text",
      step: "any",
      inputMode: a.measured ? "decimal" : "text",
      value: start === undefined || start === null ? "" : String(a.measured ? typed.show(start) : start),
    });
    field.dataset.name = a.name;
    const shown = field.value;
    // What nobody touched is what it was: shown in other units it is rounded.
    const read = () =>
      field.value.trim() === ""
        ? undefined
        : field.value === shown
          ? start
          : a.measured
            ? typed.keep(Number(field.value))
            : field.value.trim();
    return { name: a.name, start, read, row: h("label.field", {}, `${plain(a.name)} ${typed.unit}`.trim(), field) };
  });
}

const valuesOf = (fields) =>
  Object.fromEntries(fields.map((f) => [f.name, f.read()]).filter(([, v]) => v !== undefined));

function devicePart(view) {
  const { app, place } = view;
  if (!place) return placesPart(view, "replace", () => true);
  const role = app.roles[place.role];
  const kind = h(
    "select",
    { "aria-label": say("kind_of_device") },
    role.kinds.map((k) => h("option", { value: k, selected: k === place.kind }, app.kinds[k].name)),
  );
  const box = h("div");
  let fields = [];
  const draw = () => {
    fields = valueFields(app.kinds[kind.value].attributes, {});
    box.replaceChildren(...fields.map((f) => f.row));
  };
  kind.addEventListener("change", draw);
  draw();
  const reason = h("input", { type: "text", maxLength: 200 });
  const old = place.kind
    ? h(
        "p.quiet",
        {},
        say("taken_out", { what: [app.kinds[place.kind]?.name, place.set_points.serial].filter(Boolean).join(", ") }),
      )
    : h("p.quiet", {}, say("place_empty"));
  const give = () =>
    keepStep(view, {
      act: place.kind ? "replace" : "fit",
      position: place.id,
      kind: kind.value,
      answers: valuesOf(fields),
      reason: reason.value.trim(),
    });
  return [
    h("h2", {}, place.name),
    warnAsFound(view),
    old,
    h("label.field", {}, say("kind_of_device"), kind),
    box,
    h("label.field", {}, say("reason"), reason),
    bigButton(say("keep_new"), give),
  ];
}

function setPart(view) {
  const { app, place } = view;
  if (!place) return placesPart(view, "set", (p) => app.kinds[p.kind]?.attributes.some((a) => a.measured));
  const fields = valueFields(
    app.kinds[place.kind].attributes.filter((a) => a.name !== "serial"),
    place.set_points,
  );
  const give = () => {
    const changed = fields.filter((f) => f.read() !== undefined && f.read() !== f.start);
    if (changed.length) keepStep(view, { act: "set", position: place.id, answers: valuesOf(changed) });
  };
  return [h("h2", {}, place.name), warnAsFound(view), fields.map((f) => f.row), bigButton(say("keep_set"), give)];
}

function removePart(view) {
  if (!view.place) return placesPart(view, "remove", (p) => p.kind);
  return [
    h("h2", {}, view.place.name),
    warnAsFound(view),
    bigButton(say("taken_away"), () => keepStep(view, { act: "remove", position: view.place.id })),
  ];
}

/** The roles that the register leaves out: there, none, or not seen. */
function gapPart({ app, draft, pack }) {
  const roles = [...new Set(pack.not_on_record.flatMap((g) => g.roles))].filter((r) => app.roles[r]);
  const give = (role, given) => async () => {
    app.saved(await changeDraft(draft.id, (d) => (d.gaps[role] = given)));
    app.refresh();
  };
  const row = (role) => {
    const kinds = app.roles[role].kinds;
    const chip = (text, given) =>
      h(
        "button.chip",
        {
          type: "button",
          "aria-pressed": String(JSON.stringify(draft.gaps[role]) === JSON.stringify(given)),
          onclick: onceTouched(give(role, given)),
        },
        text,
      );
    return h(
      "section",
      {},
      h("h2", {}, app.roles[role].name),
      h(
        "div.chips",
        {},
        kinds.map((k) => chip(say("there_as", { kind: app.kinds[k].name }), { answer: "there", kind: k })),
        chip(say("none_here"), { answer: "none" }),
        chip(say("not_seen"), { answer: "not_seen" }),
      ),
    );
  };
  return roles.map(row);
}

function notePart({ app, draft }) {
  const text = h("textarea", { rows: 6, maxLength: 4000, "aria-label": say("add_note") }, draft.note);
  const give = async () => {
    app.saved(await changeDraft(draft.id, (d) => (d.note = text.value.trim())));
    app.go(`#/visit/${draft.id}`);
  };
  return [text, bigButton(say("keep_note"), give)];
}
