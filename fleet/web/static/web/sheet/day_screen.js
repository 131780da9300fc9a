/* My day: what is kept on this phone, the jobs of today and tomorrow in order, and every boiler one may visit. */

import { now, person } from "./device.js";
import { clockTime, dayAndTime, dayOf, h, plain, say } from "./dom.js";
import { keptHeads, readDraft } from "./visits.js";

const THREE_WEEKS = 21 * 86400000;

export async function showDay(app) {
  const day = app.day?.value;
  return [
    h("h1", {}, say("my_day")),
    app.storageNotice(),
    ...(await keptVisits()),
    day ? jobsPart(day, app.day.fetchedAt) : h("p.quiet", {}, say("no_day_yet")),
    day ? boilersPart(day) : null,
    h(
      "p.quiet",
      {},
      say("taken_by", { name: person()?.name ?? "" }),
      " ",
      h("a", { href: "#/phone" }, say("this_phone")),
    ),
  ];
}

async function keptVisits() {
  const heads = (await keptHeads()).sort((a, b) => b.begunAt - a.begunAt);
  const own = heads.filter((head) => head.person === person()?.id);
  const drafts = await Promise.all(own.map((head) => readDraft(head.id)));
  const strange = heads.length - own.length;
  const unfinished = drafts.filter((d) => d && d.state !== "posted");
  const posted = drafts.filter((d) => d?.state === "posted");
  return [
    unfinished.length ? h("section.kept", {}, h("h2", {}, say("on_this_phone")), ...unfinished.map(keptLine)) : null,
    strange ? h("p.notice", {}, say("others_sealed", { count: strange })) : null,
    posted.length
      ? h("details", {}, h("summary", {}, say("posted_from_here", { count: posted.length })), ...posted.map(keptLine))
      : null,
  ];
}

function keptLine(draft) {
  const old = draft.state === "open" && now() - draft.begunAt > THREE_WEEKS;
  return h(
    "a.row",
    { href: `#/visit/${draft.id}` },
    h("strong", {}, `${draft.address} · ${draft.name}`),
    h("span", {}, say(`state_${draft.state}`), " · ", say(`kind_${draft.kind}`)),
    old ? h("span.warn", {}, say("begun_long_ago", { day: dayOf(draft.begunAt, undefined) })) : null,
  );
}

function jobsPart(day, fetchedAt) {
  return h(
    "section",
    {},
    h("h2", {}, say("jobs")),
    h("p.quiet", {}, say("as_of", { time: dayAndTime(fetchedAt, undefined) })),
    day.jobs.length ? day.jobs.map((job) => jobCard(job, day)) : h("p", {}, say("no_jobs")),
  );
}

function jobCard(job, day) {
  const here = day.boilers.filter((b) => b.building === job.building);
  return h(
    "article.job",
    {},
    h("h3", {}, `${dayOf(job.start, job.zone)} ${clockTime(job.start, job.zone)} · ${job.address}`),
    job.is_late ? h("p.warn", {}, say("job_late")) : null,
    job.access_hours ? h("p", {}, say("access"), ": ", job.access_hours) : null,
    job.with_name ? h("p", {}, say("together_with", { name: job.with_name })) : null,
    job.parts.length ? h("p", {}, say("parts"), ": ", job.parts.join(", ")) : null,
    job.note ? h("p", {}, job.note) : null,
    h(
      "ul.asked",
      {},
      job.items.map((i) => h("li", {}, i.level === "hold" ? h("strong", {}, i.sentence) : i.sentence)),
    ),
    here.map(boilerLine),
  );
}

function boilerLine(boiler) {
  return h(
    "a.row",
    { href: `#/boiler/${boiler.id}` },
    h("strong", {}, `${boiler.address} · ${boiler.name}`),
    h("span", {}, plain(boiler.standing)),
    boiler.first_act ? h("span.first", {}, boiler.first_act) : null,
  );
}

function boilersPart(day) {
  const rows = day.boilers.map((b) => ({ text: `${b.address} ${b.name}`.toLowerCase(), line: boilerLine(b) }));
  const find = h("input", {
    type: "search",
    "aria-label": say("find_boiler"),
    placeholder: say("find_boiler"),
    oninput: () => filter(find.value),
  });
  const filter = (typed) => rows.forEach((row) => (row.line.hidden = !row.text.includes(typed.trim().toLowerCase())));
  return h(
    "section",
    {},
    h("h2", {}, say("boilers")),
    rows.length > 6 ? find : null,
    rows.map((r) => r.line),
    day.more ? h("p", {}, say("more_boilers", { count: day.more })) : null,
  );
}
