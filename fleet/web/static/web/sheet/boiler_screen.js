/* One boiler before a visit: what it did to people, what holds it, its last readings, and the kinds of visit. */

import { fetchCopy, kept, packPath, withPlaceNames } from "./copies.js";
import { ask, NoSignal, now, person } from "./device.js";
import { bigButton, dayAndTime, dayOf, h, plain, say, showNumber, unitOf } from "./dom.js";
import { draftOfFacts, newDraft } from "./draft.js";
import { beginDraft, keptHeads, readDraft } from "./visits.js";
import { isFull } from "./store.js";
import { firstActOf } from "./visit_screen.js";

const CARETAKER_KINDS = ["routine_check"];
const OFTEN = 4;
const KIND_ORDER = [
  "routine_check",
  "follow_up",
  "annual_service",
  "no_heat",
  "season_start",
  "season_shutdown",
  "restart",
  "inspection",
];

/** Return the boiler's pack, newest where there is signal; null where it was never fetched. */
export async function packOf(boiler) {
  try {
    return await fetchCopy(packPath(boiler));
  } catch (error) {
    if (error instanceof NoSignal) return kept(packPath(boiler));
    throw error;
  }
}

export async function showBoiler(app, boiler) {
  const copy = await packOf(boiler);
  if (!copy) return [h("h1", {}, say("boiler")), h("p.notice", {}, say("boiler_not_here"))];
  const pack = withPlaceNames(app, copy.value);
  const zone = pack.boiler.zone;
  return [
    h("h1", {}, `${pack.boiler.address} · ${pack.boiler.name}`),
    h("p.quiet", {}, say("as_of", { time: dayAndTime(copy.fetchedAt, zone) })),
    h("p.advice", {}, app.words?.caution ?? pack.caution),
    pack.dangers.length ? dangersPart(pack.dangers, zone) : null,
    pack.first.map((f) =>
      h(
        "section.hold",
        {},
        h("h2", {}, say("hold")),
        h("p", {}, f.sentence),
        h("p.first", {}, firstActOf(app, pack, f)),
      ),
    ),
    await openVisits(boiler),
    app.isTechnician() || !app.isOfDesk() ? beginPart(app, pack) : null,
    app.isOfDesk() ? deskPart(app, pack) : null,
    pack.boiler.access_hours ? h("p", {}, say("access"), ": ", pack.boiler.access_hours) : null,
    peoplePart(pack),
    pack.open.length
      ? h(
          "section",
          {},
          h("h2", {}, say("open_here")),
          h(
            "ul",
            {},
            pack.open.map((d) => h("li", {}, d.sentence)),
          ),
        )
      : null,
    lastPart(pack, app),
    pack.not_on_record.length
      ? h(
          "section",
          {},
          h("h2", {}, say("not_on_record")),
          h(
            "ul",
            {},
            pack.not_on_record.map((g) => h("li", {}, g.name)),
          ),
        )
      : null,
    earlierPart(app, pack),
  ];
}

/** The kinds of visit that happen every week stand open, the others are folded. */
function beginPart(app, pack) {
  const button = (kind) => bigButton(say(`kind_${kind}`), () => begin(app, pack, kind));
  const kinds = app.isTechnician() ? KIND_ORDER : CARETAKER_KINDS;
  const rare = kinds.slice(OFTEN);
  return h(
    "section",
    {},
    h("h2", {}, say("begin_visit")),
    kinds.slice(0, OFTEN).map(button),
    rare.length ? h("details", {}, h("summary", {}, say("other_kinds")), rare.map(button)) : null,
  );
}

function dangersPart(dangers, zone) {
  const line = (d) =>
    h(
      "li",
      {},
      `${dayOf(d.opened_at, zone)}: ${d.sentence}`,
      d.closed_at ? ` (${say("closed_on", { day: dayOf(d.closed_at, zone) })})` : ` (${say("still_open")})`,
    );
  return h("section.danger", {}, h("h2", {}, say("what_it_did")), h("ul", {}, dangers.map(line)));
}

async function openVisits(boiler) {
  const heads = (await keptHeads()).filter((head) => head.person === person()?.id && head.state !== "posted");
  const drafts = (await Promise.all(heads.map((head) => readDraft(head.id)))).filter((d) => d?.boiler === boiler);
  return drafts.map((d) =>
    h(
      "a.row",
      { href: `#/visit/${d.id}` },
      h("strong", {}, say("go_on_with", { kind: say(`kind_${d.kind}`) })),
      h("span", {}, dayAndTime(d.begunAt, undefined)),
    ),
  );
}

/** What the desk is told: on the telephone by somebody known, or by the lines of a paper log. */
function deskPart(app, pack) {
  const tellers = pack.people.filter((p) => p.id !== person().id);
  const begin = (teller) => {
    const draft = newDraft({ id: crypto.randomUUID(), pack, kind: "routine_check", person: person(), at: Date.now() });
    Object.assign(draft, { people: [{ user: teller.id }], saidBy: teller.name });
    return keepAndOpen(app, draft);
  };
  return h(
    "section",
    {},
    h("h2", {}, say("told_on_telephone")),
    h("p.quiet", {}, say("who_says_it")),
    tellers.map((teller) => bigButton(teller.name, () => begin(teller))),
    bigButton(say("copy_paper"), () => app.go(`#/boiler/${pack.boiler.id}/paper`)),
  );
}

async function begin(app, pack, kind) {
  const draft = newDraft({ id: crypto.randomUUID(), pack, kind, person: person(), at: Date.now() });
  await keepAndOpen(app, draft);
}

async function keepAndOpen(app, draft) {
  try {
    await beginDraft(draft);
  } catch (error) {
    if (!isFull(error)) throw error;
    app.tell(say("no_room_to_begin"));
    return;
  }
  app.go(`#/visit/${draft.id}`);
}

function peoplePart(pack) {
  const line = (p) =>
    h(
      "li",
      {},
      p.name,
      p.roles.length ? ` (${p.roles.map(plain).join(", ")})` : "",
      p.dial ? h("a.call", { href: `tel:${p.dial}` }, p.dial) : null,
    );
  return pack.people.length ? h("section", {}, h("h2", {}, say("people")), h("ul", {}, pack.people.map(line))) : null;
}

function lastPart(pack, app) {
  const places = Object.fromEntries(pack.places.map((p) => [p.id, p]));
  const line = (t) =>
    h(
      "tr",
      {},
      h("td", {}, places[t.position]?.name ?? ""),
      h("td", {}, app.procedures[t.procedure]?.name ?? t.procedure),
      h("td", {}, readingsText(t.readings)),
      h("td", {}, dayOf(t.performed_at, pack.boiler.zone)),
    );
  const set = (p) => h("li", {}, `${p.name}: ${readingsText(p.set_points)}`);
  const tuned = pack.places.filter((p) => Object.keys(p.set_points).length);
  return h(
    "details",
    {},
    h("summary", {}, say("last_readings")),
    h("ul", {}, tuned.map(set)),
    h("div.wide", {}, h("table", {}, pack.last.map(line))),
  );
}

export const readingsText = (readings) =>
  Object.entries(readings)
    .map(
      ([name, value]) =>
        `${plain(name)} ${typeof value === "number" ? showNumber(value, unitOf(name)) : value === true ? say("yes") : value === false ? say("no") : plain(String(value))}`,
    )
    .join(" · ");

function earlierPart(app, pack) {
  const line = (v) =>
    h(
      "li",
      {},
      `${dayAndTime(v.performed_at, pack.boiler.zone)} · ${say(`kind_${v.kind}`)} · ${v.people.join(", ")} `,
      v.correctable
        ? h("button.small", { type: "button", onclick: () => correct(app, pack, v.id) }, say("correct_it"))
        : null,
    );
  return pack.visits.length
    ? h("details", {}, h("summary", {}, say("earlier_visits")), h("ul", {}, pack.visits.map(line)))
    : null;
}

/** Begin a correction from the visit as it was posted; that takes signal. */
async function correct(app, pack, visit) {
  try {
    const facts = await ask(`visits/${visit}/facts/`);
    // Of a paper of others the phone has no words for what it must restate: its serials and the paper itself.
    if (facts.status !== 200 || facts.body.visit.paper) return app.tell(say("cannot_correct"));
    const fitted = facts.body.entries.filter((e) => ["replace", "fit"].includes(e.act) && e.device);
    const devices = await Promise.all(fitted.map((e) => ask(`devices/${e.device}/`)));
    const kinds = Object.fromEntries(devices.map((d, n) => [fitted[n].device, d.body?.kind ?? ""]));
    const skew = now() - Date.now();
    await keepAndOpen(
      app,
      draftOfFacts({ id: crypto.randomUUID(), facts: facts.body, pack, person: person(), kinds, skew }),
    );
  } catch (error) {
    if (!(error instanceof NoSignal)) throw error;
    app.tell(say("needs_signal"));
  }
}
