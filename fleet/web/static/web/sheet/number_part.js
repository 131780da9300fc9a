/* A number: the sheet's own keys, the limit it is held against at once, and a clock where it is measured by one. */

import { bigButton, h, say, showNumber, typedUnit } from "./dom.js";
import { TIMED, digits, holdScreen, releaseScreen, signalTime, timedText } from "./timer.js";
import { changeDraft } from "./visits.js";

function limitOf({ place, step }, question) {
  return place?.limits.find((l) => l.procedure === step.code && l.reading === question.name) ?? null;
}

export function isOverLimit(view, question, value) {
  const limit = limitOf(view, question);
  return (
    Boolean(limit) &&
    ((limit.failed_over !== null && value > limit.failed_over) ||
      (limit.failed_under !== null && value < limit.failed_under))
  );
}

/** What a number is held against, in words; the server decides. */
function limitText(view, question, value) {
  const limit = limitOf(view, question);
  if (!limit || value === null) return question.accept;
  if (isOverLimit(view, question, value)) return say("outside_fails", { accept: question.accept });
  const isOff = (limit.low !== null && value < limit.low) || (limit.high !== null && value > limit.high);
  return isOff ? say("outside_good", { accept: question.accept }) : say("inside", { accept: question.accept });
}

export function numberPart(view, question, give) {
  const typed = typedUnit(question.unit);
  let text = "";
  const shown = h("output.number", { "aria-live": "polite" }, "–");
  const limit = h("p.limit", { "aria-live": "polite" }, question.accept);
  const value = () => (text === "" || Number.isNaN(Number(text)) ? null : typed.keep(Number(text)));
  const show = () => {
    shown.textContent = `${text || "–"} ${typed.unit}`.trim();
    limit.textContent = limitText(view, question, value());
  };
  const press = (key) => {
    if (key === "back") text = text.slice(0, -1);
    else if (key === "−") text = text.startsWith("-") ? text.slice(1) : `-${text}`;
    else if (!(key === "." && text.includes(".")) && text.length < 9) text += key;
    show();
  };
  const keep = () => {
    const number = value();
    if (number === null) return;
    const isImpossible =
      (question.low !== null && number < question.low) || (question.high !== null && number > question.high);
    if (isImpossible)
      limit.textContent = say("not_possible", {
        low: showNumber(question.low ?? 0, question.unit),
        high: showNumber(question.high ?? 0, question.unit),
      });
    else give(number);
  };
  const keys = [
    "1",
    "2",
    "3",
    "4",
    "5",
    "6",
    "7",
    "8",
    "9",
    question.low !== null && question.low < 0 ? "−" : "",
    "0",
    ".",
  ];
  const key = (k) => (k ? h("button.key", { type: "button", onclick: () => press(k) }, k) : h("span"));
  show();
  return h(
    "div.keypad",
    {},
    timerPart(view, question, (seconds) => ((text = String(seconds)), show())),
    h(
      "div.line",
      {},
      shown,
      h("button.key", { type: "button", "aria-label": say("rub_out"), onclick: () => press("back") }, "⌫"),
    ),
    limit,
    h("div.keys", {}, keys.map(key)),
    bigButton(say("keep_value"), keep),
  );
}

/** A clock for readings that are measured by one; its start is stored, so that nothing stops it. */
function timerPart(view, question, fill) {
  const timed = TIMED[question.name];
  if (!timed) return null;
  const { app, draft, step } = view;
  const running = step.timer?.reading === question.name ? step.timer : null;
  const setTimer = async (timer) => {
    app.saved(await changeDraft(draft.id, (d) => (d.steps.find((s) => s.id === step.id).timer = timer)));
    app.refresh();
  };
  if (!running)
    return bigButton(say(timed.turns ? "start_at_mark" : "start_clock"), () =>
      setTimer({ reading: question.name, startedAt: Date.now(), turns: 0, lastAt: null }),
    );
  const clock = h("p.clock", { role: "timer" }, "0:00");
  const warning = h("p.warn");
  const seconds = () => Math.max(0, (Date.now() - running.startedAt) / 1000);
  let isSignaled = false;
  app.everySecond(() => {
    clock.textContent = digits(seconds());
    if (timed.enough && seconds() >= timed.enough && !isSignaled) {
      isSignaled = true;
      signalTime();
    }
  });
  holdScreen().then((held) => (warning.textContent = held ? "" : say("screen_may_go_dark")));
  const finish = () => {
    const lasted = seconds();
    releaseScreen();
    app.stopClock();
    fill(
      timed.turns && running.turns
        ? ((running.lastAt - running.startedAt) / 1000 / running.turns).toFixed(1)
        : timedText(timed, lasted),
    );
    // The next time it is asked the clock can be started anew; what was measured stands on the screen until it is kept.
    changeDraft(draft.id, (d) => delete d.steps.find((s) => s.id === step.id).timer).then(app.saved);
  };
  const turn = () => setTimer({ ...running, turns: running.turns + 1, lastAt: Date.now() });
  return h(
    "div.timer",
    {},
    clock,
    warning,
    timed.turns ? bigButton(say("one_turn", { count: running.turns }), turn) : null,
    bigButton(say("stop_clock"), finish),
  );
}
