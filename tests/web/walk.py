"""A walk through one page in a browser: by keyboard, enlarged, spaced, on paper, in all four looks; what is wrong."""

from collections import Counter
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from typing import Any

from playwright.sync_api import Page

ASKED = (Path(__file__).parent / "walked.js").read_text()
# A page has some ten colours and its contrasts ask for each of them thousands of times: read once, they are the same.
COLOURS_ONCE = """;(() => {
  const color = axe.commons.color.Color.prototype, read = color.parseString, known = new Map();
  color.parseString = function (text) {
    if (!known.has(text)) known.set(text, [read.call(this, text).r, this.g, this.b, this.alpha]);
    [this.r, this.g, this.b, this.alpha] = known.get(text);
    return this;
  };
})()"""
AXE = (files("axe_playwright_python") / "axe.min.js").read_text() + COLOURS_ONCE
# WCAG 2.2's rule on the size of targets is there but not switched on by itself. The width moves and folds, the theme
# changes colours alone: so much is asked again, the rest stays true of the same document.
# No rule that is asked reads style sheets or sound, so none are fetched for it.
QUICK = {"selectors": False, "preload": False}
EVERYTHING = {"rules": {"target-size": {"enabled": True}, "color-contrast": {"enabled": False}}, **QUICK}
LAYOUT = {"runOnly": ["target-size", "scrollable-region-focusable"], **QUICK}
COLOURS = {"runOnly": ["color-contrast"], **QUICK}
# What is asked of the whole page in each look; of colours see `colours_of`.
LOOKS = (("light", 1280, EVERYTHING), ("light", 320, LAYOUT), ("dark", 320, None), ("dark", 1280, None))
PAPER = 718  # CSS px: the width of A4 within the printer's usual margins of 1 cm; Letter is wider
# 1,280 by 1,024 px at 400 %, and so many may stand below the first screen.
ENLARGED = {"width": 320, "height": 256}
ROWS = "document.querySelectorAll('.numbers tr:nth-child(n+4)').forEach(row => row.remove())"


@dataclass
class Found:
    """What is wrong by the check that found it, each with the page; and how much was looked at."""

    wrong: dict[str, list[str]] = field(default_factory=dict)
    counted: Counter[str] = field(default_factory=Counter)
    names: set[str] = field(default_factory=set)
    judged_stylings: dict[str, list[str]] = field(default_factory=lambda: {"light": [], "dark": []})

    def note(self, check: str, name: str, told: list[str]) -> None:
        """Keep what a check says of a page."""
        self.wrong.setdefault(check, []).extend(f"{name}: {each}" for each in told)


def walk(page: Page, name: str, url: str, found: Found) -> None:
    """Everything that one page is asked; it is loaded once."""
    page.emulate_media(media="screen", color_scheme="light")
    page.set_viewport_size({"width": 1280, "height": 800})
    page.goto(url)
    page.evaluate(ASKED)
    found.counted["pages"] += 1
    found.names.add(name)
    found.note("keyboard", name, by_keyboard(page, found))
    found.note("paper", name, on_paper(page))
    page.evaluate("walked.unfold()")
    found.note("enlarged", name, enlarged(page))
    found.note("spaced", name, spaced(page))
    found.note("axe", name, in_every_look(page, found))


def by_keyboard(page: Page, found: Found) -> list[str]:
    """Tab from the top to the end: each stop once, in the order of the page, seen, and out again."""
    wanted = page.evaluate("walked.listen()")
    for _ in range(len(wanted) + 1):
        page.keyboard.press("Tab")
    noted = page.evaluate("walked.noted()")
    found.counted["stops by keyboard"] += len(wanted)
    reached = [each["at"] for each in noted if each["at"] >= 0]
    # Behind the last one the browser's own controls come, or the first again.
    around = reached == [*range(len(wanted)), 0] or reached == [*range(len(wanted))]
    order = [] if around else [_where_it_leaves(wanted, noted)]
    skip = [] if wanted and wanted[0].endswith("Skip to the sheet") else ["the first stop does not skip to the sheet"]
    return order + skip + [f"{n['told']!r} {fault}" for n in noted for key, fault in FAULTS.items() if not n[key]]


def _where_it_leaves(wanted: list[str], noted: list[dict[str, Any]]) -> str:
    wrong = next((n for n, each in enumerate(noted) if each["at"] != n), len(noted))
    came = noted[wrong]["told"] if wrong < len(noted) else "nothing"
    return f"stop {wrong + 1} of {len(wanted)} is {came!r}, not {[*wanted, 'the end'][wrong]!r}"


FAULTS = {"ring": "shows no focus", "inView": "is out of view when it has the focus"}


def on_paper(page: Page) -> list[str]:
    """As printed on A4, from a screen in the dark."""
    page.emulate_media(media="print", color_scheme="dark")
    page.set_viewport_size({"width": PAPER, "height": 1000})
    faults = page.evaluate("walked.settled().then(() => [...walked.onPaper(), ...walked.tooWide(), ...walked.cut()])")
    page.emulate_media(media="screen", color_scheme="light")
    return list(faults)


def enlarged(page: Page) -> list[str]:
    """WCAG 1.4.10, and 1.4.4 for text alone at twice its size."""
    page.set_viewport_size(ENLARGED)
    faults = page.evaluate("walked.settled().then(() => [...walked.tooWide(), ...walked.cut(), ...walked.sticking()])")
    page.set_viewport_size({"width": 1280, "height": 800})
    faults += page.evaluate("walked.styled(':root { font-size: 200% !important }'), walked.cut()")
    page.evaluate("walked.styled('')")
    return list(faults)


def spaced(page: Page) -> list[str]:
    """WCAG 1.4.12, on a phone and at a desk."""
    faults: list[str] = []
    page.evaluate("walked.styled(walked.SPACED)")
    for width in (320, 1280):
        page.set_viewport_size({"width": width, "height": 800})
        faults += page.evaluate("walked.settled().then(() => [...walked.tooWide(), ...walked.cut()])")
    page.evaluate("walked.styled('')")
    return faults


def in_every_look(page: Page, found: Found) -> list[str]:
    """Both themes at both widths, by axe; of a long table a few rows, which are alike."""
    page.evaluate(ROWS)
    page.evaluate(AXE)
    faults: list[str] = []
    for theme, width, options in LOOKS:
        page.emulate_media(color_scheme=theme)  # type: ignore[arg-type]
        page.set_viewport_size({"width": width, "height": 800})
        told = by_axe(page, found, "document", options) if options else []
        told += colours_of(page, found, theme)
        found.counted["looks"] += 1
        faults += [f"{theme} {width} {fault}" for fault in told]
    return faults


def colours_of(page: Page, found: Found, theme: str) -> list[str]:
    """The contrast of each styling once in a theme: what has the same letters on the same grounds has the same one."""
    known = found.judged_stylings[theme]
    fresh = page.evaluate("known => (window.fresh = walked.unjudged(known)).names", known)
    known += fresh
    return by_axe(page, found, "{ include: window.fresh.elements }", COLOURS) if fresh else []


def by_axe(page: Page, found: Found, where: str, options: dict[str, Any]) -> list[str]:
    """What axe finds wrong there; what it looked at is counted."""
    told = page.evaluate(f"options => axe.run({where}, options).then({SUMMED})", options)
    found.counted.update(told["counted"])
    return list(told["faults"])


SUMMED = """({ violations, passes }) => ({
  faults: violations.flatMap((v) => v.nodes.map((n) => `${v.id}: ${n.html} ${n.failureSummary ?? ""}`)),
  counted: {
    "rules passed": passes.length,
    "nodes checked": passes.reduce((sum, rule) => sum + rule.nodes.length, 0),
    "violations": violations.length,
  },
})"""
