/* The visit sheet: which screen stands, what is kept fresh, and what is said when something fails. */

import { showAdd } from "./add_screen.js";
import { showBoiler } from "./boiler_screen.js";
import { dayPath, fetchCopy, fetchPacks, kept, KeyRevoked, wordsPath } from "./copies.js";
import { loadDevice, NoSignal, person, takeAlong } from "./device.js";
import { bigButton, h, onceTouched, say, useUnits, useWords } from "./dom.js";
import { showDay } from "./day_screen.js";
import { showLeave } from "./leave_screen.js";
import { postWaiting } from "./outbox.js";
import { showPaper } from "./paper_screen.js";
import { showPhone, showWelcome } from "./phone_screen.js";
import { askToPersist } from "./store.js";
import { keepTelling } from "./tell_here.js";
import { showStep } from "./step_screen.js";
import { showVisit } from "./visit_screen.js";
import { onChange } from "./visits.js";

const main = document.getElementById("sheet");
const bar = document.getElementById("bar");
const SCREENS = [
  [/^#\/boiler\/([\w-]+)$/, showBoiler],
  [/^#\/visit\/([\w-]+)$/, showVisit],
  [/^#\/visit\/([\w-]+)\/step\/([\w-]+)(?:\/(\w+))?$/, showStep],
  [/^#\/visit\/([\w-]+)\/add(?:\/(\w+)(?:\/([\w-]+))?)?$/, showAdd],
  [/^#\/visit\/([\w-]+)\/leave$/, showLeave],
  [/^#\/boiler\/([\w-]+)\/paper$/, showPaper],
  [/^#\/phone$/, showPhone],
];

let ticking = null;
let drawing = 0;
const says = JSON.parse(document.getElementById("says").textContent);

const byCode = (rows) => Object.fromEntries(rows.map((r) => [r.code, r]));

const app = {
  day: null,
  words: null,
  procedures: {},
  observations: {},
  actions: {},
  kinds: {},
  roles: {},
  persisted: null,
  language: localStorage.getItem("gaugeglass_language") ?? (navigator.language.startsWith("es") ? "es" : "en"),
  person,
  isTechnician: () => !app.day || app.day.value.qualifications.some((q) => q !== "operator"),
  isOfDesk: () => Boolean(app.day?.value.is_of_desk),
  go(hash) {
    if (location.hash === hash) app.refresh();
    else location.hash = hash;
  },
  refresh: () => draw(),
  tell: (text) => showBar(text),
  async saved(result) {
    const isSaved = await result.saved;
    document.body.classList.toggle("not-saved", !isSaved);
    if (!isSaved) showBar(say("no_room"), "alert");
    else if (bar.dataset.why === say("no_room")) hideBar();
  },
  failed(error) {
    if (error instanceof KeyRevoked) return start();
    if (!(error instanceof NoSignal)) throw error;
  },
  everySecond(act) {
    act();
    ticking = setInterval(act, 250);
  },
  stopClock: () => clearInterval(ticking),
  choose(title, options) {
    main.replaceChildren(
      h("h1", {}, title),
      h(
        "div.answers",
        {},
        options.map(([text, act]) => bigButton(text, act)),
      ),
      h("button.quiet", { type: "button", onclick: onceTouched(() => app.refresh()) }, say("back")),
    );
  },
  storageNotice: () => (app.persisted === false ? h("p.notice", {}, say("not_persistent")) : null),
  async useLanguage(language) {
    app.language = language;
    localStorage.setItem("gaugeglass_language", language);
    document.documentElement.lang = language;
    useWords(says[language]);
    const copy = (await fetchCopy(wordsPath(language)).catch(() => null)) ?? (await kept(wordsPath(language)));
    if (copy) takeWords(copy.value);
  },
  start: () => start(),
};

function takeWords(words) {
  app.words = words;
  for (const name of ["procedures", "observations", "actions", "kinds", "roles"]) app[name] = byCode(words[name]);
}

function showBar(text, role = "status") {
  bar.dataset.why = text;
  bar.setAttribute("role", role);
  bar.replaceChildren(text, h("button.quiet", { type: "button", onclick: hideBar }, say("seen")));
  bar.hidden = false;
}

function hideBar() {
  bar.hidden = true;
  bar.dataset.why = "";
}

async function draw() {
  const turn = ++drawing;
  clearInterval(ticking);
  const found = SCREENS.map(([pattern, screen]) => [pattern.exec(location.hash), screen]).find(([match]) => match);
  const [match, screen] = found ?? [[], showDay];
  let parts;
  try {
    parts = await screen(app, ...match.slice(1));
  } catch (error) {
    if (error instanceof KeyRevoked) return start();
    throw error;
  }
  if (turn !== drawing) return; // a newer screen was asked for meanwhile
  main.replaceChildren(...parts.flat(3).filter(Boolean));
  document.body.dataset.drawn = location.hash;
  document.body.dataset.turn = String(turn);
}

async function freshen() {
  try {
    app.day = (await fetchCopy(dayPath)) ?? app.day;
    await app.useLanguage(app.language);
    await postWaiting(app.procedures);
    if (app.day) await fetchPacks(boilersToTake(app.day.value));
    await keepTelling();
  } catch (error) {
    app.failed(error);
  }
}

/** The boilers of the day's jobs, those on hold, and all of a small house list. */
function boilersToTake(day) {
  const houses = new Set(day.jobs.map((job) => job.building));
  const wanted = day.boilers.filter((b) => houses.has(b.building) || b.standing === "hold" || day.boilers.length <= 12);
  return wanted.map((b) => b.id).slice(0, 30);
}

async function start() {
  document.documentElement.lang = app.language;
  useWords(says[app.language]);
  const device = await loadDevice();
  if (!device) {
    main.replaceChildren(...(await showWelcome(app, takeAlong)).flat(3).filter(Boolean));
    document.body.dataset.drawn = "welcome";
    return;
  }
  useUnits(device.person.units);
  app.persisted = await askToPersist();
  app.day = await kept(dayPath).then((copy) => copy && { value: copy.value, fetchedAt: copy.fetchedAt });
  const words = await kept(wordsPath(app.language));
  if (words) takeWords(words.value);
  else await app.useLanguage(app.language);
  await draw();
  const shown = location.hash;
  await freshen();
  if (location.hash === shown && !/step|add|leave/.test(shown)) await draw();
}

window.addEventListener("hashchange", () => {
  window.scrollTo(0, 0);
  draw();
});
window.addEventListener("online", () => freshen().then(() => app.refresh()));
document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && person() && freshen());
onChange(() => !/step|add|leave/.test(location.hash) && person() && draw());
window.addEventListener("unhandledrejection", (event) =>
  showBar(`${say("went_wrong")} ${event.reason?.message ?? ""}`, "alert"),
);
if ("serviceWorker" in navigator)
  navigator.serviceWorker.register("/sheet/worker.js", { scope: "/sheet/" }).catch(() => {});
if (globalThis.crypto?.subtle) start();
else main.replaceChildren(h("p.notice", {}, says[app.language].needs_https));
