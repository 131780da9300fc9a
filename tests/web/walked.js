// What a page is asked while somebody walks through it: each question answers with what is wrong, in words.
(() => {
  const told = (e) => `${e.tagName.toLowerCase()}${e.id ? `#${e.id}` : ""}.${e.className.baseVal ?? e.className} ${e.textContent.trim().slice(0, 40)}`;
  const shown = (e) => e.checkVisibility({ visibilityProperty: true, contentVisibilityAuto: false }) && !e.closest(".unseen");
  const all = (form) => [...document.querySelectorAll(form)];
  const INTERACTIVE = "a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex='0']";

  // A box that may be scrolled by itself: reached by keyboard, and named.
  const region = (e) => e.closest("[tabindex='0'][role=region][aria-label], [tabindex='0'][role=region][aria-labelledby]");

  // Of several to choose one from, the chosen one is the stop; where none is chosen, the first.
  const group = (e) => [...document.querySelectorAll(`input[type="radio"][name="${e.name}"]`)];
  const chosen = (e) => e.type !== "radio" || e === (group(e).find((one) => one.checked) ?? group(e)[0]);

  function stops() {
    return all(INTERACTIVE).filter((e) => shown(e) && !e.disabled && e.tabIndex >= 0 && chosen(e));
  }

  // From now on each focus is noted.
  function listen() {
    document.body.tabIndex = -1; // from the top, also where a page puts the focus somewhere itself
    document.body.focus();
    document.body.removeAttribute("tabindex");
    listening = stops();
    noted = [];
    document.addEventListener("focusin", () => noted.push(here()));
    return listening.map(told);
  }

  // Where the focus is: its place among what ought to be reached, its name, and whether it can be seen there.
  let listening = [];
  let noted = [];
  function here() {
    const e = document.activeElement;
    const style = getComputedStyle(e);
    const box = e.getBoundingClientRect();
    const ring = (s) => s.outlineStyle !== "none" && parseFloat(s.outlineWidth) >= 2;
    return {
      at: listening.indexOf(e),
      told: told(e),
      ring: ring(style) || [...e.querySelectorAll("*")].some((child) => ring(getComputedStyle(child))),
      inView: box.bottom > 0 && box.top < innerHeight && box.right > 0 && box.left < innerWidth,
    };
  }

  function tooWide() {
    const over = document.documentElement.scrollWidth - innerWidth;
    if (over <= 0) return [];
    const beyond = all("main *, header *, footer *").filter((e) => shown(e) && e.getBoundingClientRect().right > innerWidth + 1);
    const free = beyond.filter((e) => !region(e));
    const wide = free.length ? free : beyond;
    return [`${over} px wider than the window: ${wide.slice(-3).map(told).join(" | ")}`];
  }

  // Text that is cut off by the box it stands in.
  function cut() {
    const found = all("main *, header *").filter((e) => {
      const style = getComputedStyle(e);
      if (e.clientWidth <= 1) return false; // for who listens alone
      const hides = [style.overflowX, style.overflowY].some((way) => way === "hidden" || way === "clip");
      if (!hides || !shown(e) || !e.textContent.trim() || e.closest("svg")) return false;
      return e.scrollWidth > e.clientWidth + 1 || e.scrollHeight > e.clientHeight + 1;
    });
    return found.map((e) => `cut off: ${told(e)}`);
  }

  function sticking() {
    const found = all("body *").filter((e) => ["sticky", "fixed"].includes(getComputedStyle(e).position) && shown(e) && !region(e));
    const high = found.reduce((sum, e) => sum + e.getBoundingClientRect().height, 0);
    return high > innerHeight / 3 ? [`${high} px stick of ${innerHeight}: ${found.map(told).join(" | ")}`] : [];
  }

  // In print: nothing to press, no dark ground, and no box that would have to be scrolled.
  function onPaper() {
    const controls = all("button, input:not([type=hidden]), select, textarea, .skip, .block-nav").filter(shown).map((e) => `only of use on a screen: ${told(e)}`);
    const dark = all("html, body, main, main *").filter((e) => {
      const ground = getComputedStyle(e).backgroundColor.match(/[\d.]+/g).map(Number);
      return shown(e) && ground[3] !== 0 && Math.max(ground[0], ground[1], ground[2]) < 80 && e.getBoundingClientRect().width > 200;
    });
    const scrolled = all("main *").filter((e) => shown(e) && ["auto", "scroll"].includes(getComputedStyle(e).overflowX) && e.scrollWidth > e.clientWidth + 1);
    const folded = all("main details:not([open])").filter((e) => !e.closest("form") && !e.querySelector("form") && getComputedStyle(e).display !== "none");
    return [...controls, ...dark.map((e) => `dark ground: ${told(e)}`), ...scrolled.map((e) => `cut off on paper: ${told(e)}`), ...folded.filter((e) => !opensOnPaper(e)).map((e) => `folded on paper: ${told(e)}`)];
  }

  function opensOnPaper(e) {
    return getComputedStyle(e, "::details-content").contentVisibility === "visible" && getComputedStyle(e, "::details-content").height !== "0px";
  }

  // The four of WCAG 1.4.12.
  const SPACED = "* { line-height: 1.5 !important; letter-spacing: .12em !important; word-spacing: .16em !important; } p { margin-bottom: 2em !important; }";
  function styled(text) {
    const sheet = new CSSStyleSheet();
    sheet.replaceSync(text);
    document.adoptedStyleSheets = text ? [sheet] : [];
  }

  function unfold() {
    all("details").forEach((e) => { e.open = true; });
  }

  // All that the contrast of a text hangs on: its kind, color and size, and the grounds of all that it stands in.
  function stylings() {
    const grounds = new Map();
    const ground = (e) => {
      if (!e) return "";
      if (!grounds.has(e)) {
        const s = getComputedStyle(e);
        const own = [s.backgroundColor, s.backgroundImage, s.opacity, s.filter, s.mixBlendMode, s.position === "static" ? "" : s.position].join();
        const below = ground(e.parentElement);
        grounds.set(e, own === "rgba(0, 0, 0, 0),none,1,none,normal," ? below : `${below} | ${own}`);
      }
      return grounds.get(e);
    };
    const reads = (e) => e.matches("input, select, textarea") || [...e.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
    return all("body *").filter((e) => reads(e) && shown(e)).map((e) => {
      const s = getComputedStyle(e);
      return [e, [e.tagName, e.className.baseVal ?? e.className, s.color, s.fill, s.fontSize, s.fontWeight, s.textShadow, ground(e)].join(" ; ")];
    });
  }

  // One element of each styling that is not known yet, with the names of those stylings.
  function unjudged(known) {
    const before = new Set(known);
    const fresh = new Map();
    for (const [e, name] of stylings()) if (!before.has(name) && !fresh.has(name)) fresh.set(name, e);
    return { names: [...fresh.keys()], elements: [...fresh.values()] };
  }

  // Until what hangs on the window's size has been drawn again.
  const settled = () => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(done, 30))));

  window.walked = { listen, noted: () => noted, settled, tooWide, cut, sticking, onPaper, unfold, styled, unjudged, SPACED };
})();
