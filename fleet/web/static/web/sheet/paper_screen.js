/* A month's paper log in one table: each line becomes a visit of its day, said by whoever wrote it. */

import { packOf } from "./boiler_screen.js";
import { person } from "./device.js";
import { bigButton, h, say } from "./dom.js";
import { answer, newDraft } from "./draft.js";
import { finishDraft, postWaiting } from "./outbox.js";
import { isFull } from "./store.js";
import { beginDraft } from "./visits.js";

const DAYS = 31;
const NOON_MS = 12 * 3600000;
// What a tick in the flush column of the wall log stands for; the card says so above its lines.
const WHOLE_FLUSH = [
  ["flush", "burner_firing", true],
  ["flush", "water", "runs"],
  ["flush", "burner_stopped", true],
  ["flush", "recovery", "prompt"],
];
const FLUSH_LINES = { yes: WHOLE_FLUSH, no: [["flush", "burner_stopped", false]] };

export async function showPaper(app, boiler) {
  const copy = await packOf(boiler);
  if (!copy) return [h("p.notice", {}, say("boiler_not_here"))];
  const pack = copy.value;
  const rows = lastDays(pack.boiler.zone).map((day) => paperRow(pack, day));
  const count = () => rows.filter((row) => row.values().length).length;
  const button = bigButton(say("keep_lines", { count: 0 }), () => {
    button.disabled = true; // a second touch would keep each line twice
    keepLines(app, pack, rows).catch((error) => {
      if (!isFull(error)) throw error;
      app.tell(say("no_room_to_begin"));
    });
  });
  const table = h(
    "div.wide",
    { oninput: () => (button.textContent = say("keep_lines", { count: count() })) },
    tableOf(pack, rows),
  );
  return [
    h(
      "p.where",
      {},
      h("a", { href: `#/boiler/${boiler}` }, say("back")),
      ` ${pack.boiler.address} · ${pack.boiler.name}`,
    ),
    h("h1", {}, say("copy_paper")),
    h("p", {}, say("paper_intro")),
    table,
    button,
  ];
}

/** The last days by the building's calendar, the oldest first, each with its noon there. */
function lastDays(zone) {
  const format = new Intl.DateTimeFormat("en-CA", { timeZone: zone });
  return Array.from({ length: DAYS }, (_, back) =>
    format.format(new Date(Date.now() - (DAYS - 1 - back) * 86400000)),
  ).map((day) => ({ day, noon: noonOf(day, zone) }));
}

function noonOf(day, zone) {
  const guess = Date.parse(`${day}T00:00:00Z`) + NOON_MS;
  const shown = new Intl.DateTimeFormat("en-GB", {
    timeZone: zone,
    hour: "2-digit",
    minute: "2-digit",
    hourCycle: "h23",
  });
  const [hour, minute] = shown.format(new Date(guess)).split(":").map(Number);
  return Math.min(guess + NOON_MS - (hour * 60 + minute) * 60000, Date.now());
}

const select = (label, options) =>
  h(
    "select",
    { "aria-label": label },
    h("option", { value: "" }, ""),
    options.map(([value, text]) => h("option", { value }, text)),
  );

/** One line: its fields, and what they say as [procedure, question, value, place]; without a place of all it fits. */
function paperRow(pack, { day, noon }) {
  const line = select(`${say("paper_line")} ${day}`, [
    ["yes", say("yes")],
    ["no", say("no")],
  ]);
  const flushes = flushColumns(pack).map(({ position, head }) => ({
    position,
    field: select(`${head} ${day}`, [
      ["yes", say("paper_stopped")],
      ["no", say("paper_kept_firing")],
    ]),
  }));
  const psi = h("input", {
    type: "number",
    step: "any",
    inputMode: "decimal",
    "aria-label": `${say("paper_psi")} ${day}`,
  });
  const writers = pack.people.filter((p) => p.id !== person().id).map((p) => [p.id, p.name]);
  const who = select(`${say("paper_who")} ${day}`, writers);
  if (writers.length)
    who.value = (writers.find(([id]) => pack.people.find((p) => p.id === id)?.roles.includes("caretaker")) ??
      writers[0])[0];
  const values = () => [
    ...(line.value ? [["level_observation", "line_visible", line.value === "yes"]] : []),
    ...flushes.flatMap(({ position, field }) => (FLUSH_LINES[field.value] ?? []).map((said) => [...said, position])),
    ...(psi.value !== "" ? [["pressure_observation", "gauge_psi", Number(psi.value)]] : []),
  ];
  return { day, noon, fields: [line, ...flushes.map((f) => f.field), psi, who], who, values };
}

/** One column a cutoff that is flushed: a tick for one says nothing of the other. */
function flushColumns(pack) {
  const flushed = (pack.sheets.routine_check ?? pack.sheets[""]).filter((line) => line.procedure === "flush");
  return flushed.map(({ position }) => {
    const place = flushed.length > 1 ? pack.places.find((p) => p.id === position) : null;
    return { position, head: [say("paper_flush"), place?.name].filter(Boolean).join(", ") };
  });
}

function tableOf(pack, rows) {
  const flushHeads = flushColumns(pack).map((column) => column.head);
  const heads = [say("paper_day"), say("paper_line"), ...flushHeads, say("paper_psi"), say("paper_who")].map((text) =>
    h("th", { scope: "col" }, text),
  );
  return h(
    "table.paper",
    {},
    h("thead", {}, h("tr", {}, heads)),
    h(
      "tbody",
      {},
      rows.map((r) =>
        h(
          "tr",
          {},
          h("th", { scope: "row" }, r.day),
          r.fields.map((f) => h("td", {}, f)),
        ),
      ),
    ),
  );
}

async function keepLines(app, pack, rows) {
  for (const row of rows.filter((r) => r.values().length)) {
    const draft = newDraft({ id: crypto.randomUUID(), pack, kind: "routine_check", person: person(), at: row.noon });
    Object.assign(draft, {
      people: row.who.value ? [{ user: row.who.value }] : draft.people,
      saidBy: row.who.selectedOptions[0]?.text ?? "",
      note: say("paper_note", { name: person().name }),
    });
    for (const [code, reading, value, place] of row.values()) {
      for (const step of draft.steps.filter((s) => s.code === code && (!place || s.position === place))) {
        const question = app.procedures[code].readings.find((q) => q.name === reading);
        answer(draft, step, question, value, row.noon);
      }
    }
    await beginDraft(draft);
    await (
      await finishDraft(draft.id, app.procedures, Date.now())
    ).saved;
  }
  postWaiting(app.procedures).then(
    () => app.refresh(),
    (error) => app.failed(error),
  );
  app.go("#/");
}
