/* Making elements, and the words of the sheet in the chosen language. */

let words = {};
let unitsShown = "us";

export function useWords(table) {
  words = table;
}
export function useUnits(units) {
  unitsShown = units;
}
export const units = () => unitsShown;

/** The words under a key, with {names} filled in. A missing key shows itself: tests look for that. */
export function say(key, values = {}) {
  return (words[key] ?? `[${key}]`).replace(/\{(\w+)\}/g, (_, name) => values[name] ?? "");
}

/** Make an element: h("button.big", { onclick }, "text", child, …). A null child is left out. */
export function h(tag, attributes = {}, ...children) {
  const [name, ...classes] = tag.split(".");
  const made = document.createElement(name);
  if (classes.length) made.className = classes.join(" ");
  for (const [key, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else if (key in made && typeof value !== "string") made[key] = value;
    else made.setAttribute(key, value === true ? "" : value);
  }
  made.append(...children.flat(3).filter((c) => c !== null && c !== undefined && c !== false && c !== ""));
  return made;
}

let lastTouch = -Infinity; // in milliseconds since the page was opened

/** Run an act of a finger once: a second touch within 400 ms is a slip of a wet glove. */
export const onceTouched = (act) => (event) => {
  if (event.timeStamp - lastTouch < 400) return;
  lastTouch = event.timeStamp;
  act(event);
};

export const bigButton = (text, act, more = {}) =>
  h("button.answer", { type: "button", ...more, onclick: onceTouched(act) }, text);

/** A code as words, for what has no words of its own. */
export const plain = (code) => code.replaceAll("_", " ");

const UNIT_ENDINGS = {
  psi: "psi",
  in: "in",
  in_wc: "in w.c.",
  gph: "gal/h",
  ft3: "ft3",
  minutes: "min",
  s: "s",
  f: "°F",
  ppm: "ppm",
  pct: "%",
  gal: "gal",
  lb_h: "lb/h",
  btu_h: "Btu/h",
  years: "",
};
export function unitOf(name) {
  return UNIT_ENDINGS[Object.keys(UNIT_ENDINGS).find((u) => name.endsWith(`_${u}`))] ?? "";
}

// Exact by definition but psi (NIST SP 811), as the site's own conversions.
const SI = {
  psi: ["kPa", 6.894757293168, 0],
  in: ["mm", 25.4, 0],
  F: ["°C", 5 / 9, -32],
  "°F": ["°C", 5 / 9, -32],
  gal: ["L", 3.785411784, 0],
  "in w.c.": ["Pa", 249.08891, 0],
  "Btu/h": ["kW", 0.00029307107, 0],
  "lb/h": ["kg/h", 0.45359237, 0],
};

/** The unit a number is typed in, and the factors to and from the unit it is kept in. */
export function typedUnit(unit) {
  const si = unitsShown === "si" ? SI[unit] : null;
  if (!si) return { unit, keep: (v) => v, show: (v) => v };
  const [name, factor, shift] = si;
  return {
    unit: name,
    keep: (v) => Number((v / factor - shift).toPrecision(6)),
    show: (v) => Number(((v + shift) * factor).toPrecision(4)),
  };
}

export function showNumber(value, unit) {
  const typed = typedUnit(unit);
  return `${typed.show(value)} ${typed.unit}`.trim();
}

const localTime = (at, zone, options) =>
  new Intl.DateTimeFormat(document.documentElement.lang, { timeZone: zone, ...options }).format(new Date(at));
export const clockTime = (at, zone) => localTime(at, zone, { hour: "2-digit", minute: "2-digit" });
export const dayAndTime = (at, zone) =>
  localTime(at, zone, { weekday: "short", month: "short", day: "numeric", hour: "2-digit", minute: "2-digit" });
export const dayOf = (at, zone) =>
  localTime(at, zone, { weekday: "short", month: "short", day: "numeric", year: "numeric" });
