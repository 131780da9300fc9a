"""The proof glass: days of proof left, drawn as a reflex glass looks; one drawing for board, building and wall."""

from dataclasses import dataclass
from datetime import datetime

from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

from fleet.board.glasses import Glass, Reading, Waiting
from fleet.calendar import day_of
from fleet.rules.values import Standing
from fleet.rules.wording import on

# The slot behind the pane in the drawing's own units: 20 wide, 44 high, the pane from x 7 to 13.
TOP, BOTTOM = 4.0, 40.0
FRAMES = {Standing.OFF.value: "Off", Standing.NOT_SURVEYED.value: "Not surveyed"}
ASIDE = {
    Standing.HOLD.value: "Its proofs have time left: the hold has another cause.",
    Standing.EXPOSED.value: "Its proofs have time left: it is exposed for another cause.",
}
LEGEND = "days of proof left, not water"


@dataclass(frozen=True, slots=True)
class Drawn:
    """One glass at an instant: `frame` alone where there is nothing to read, `days` that are left, and it in words."""

    frame: str
    days: int | None
    text: str
    level: float = 0.0
    book: float | None = None
    tick: float | None = None
    aside: str = ""  # why the boiler stands badly beside a glass that is not empty

    @property
    def detail(self) -> str:
        """What the words say beside the number of days."""
        return self.text.partition(": ")[2]

    @property
    def svg(self) -> SafeString:
        """The drawing, silent: whoever shows it puts the words beside it."""
        return mark_safe(f'<svg class="glass" viewBox="0 0 20 44" aria-hidden="true">{self.inner}</svg>')

    @property
    def inner(self) -> str:
        """What lies in the drawing: the frame from the page's store, the dark part, the two marks beside it."""
        if self.days is None:
            return f'<use href="#glass-{escape(self.frame)}"/>'
        dark = f'<path d="M7 {_y(self.level)}h6V40H7z"/>' if self.level > 0 else ""
        book = f"M0 {_y(self.book, -1)}h4v2H0z" if self.book is not None else ""
        tick = f"M20 {_y(self.tick, -2.5)}v5l-4-2.5z" if self.tick is not None else ""
        beside = f'<path class="at" d="{book}{tick}"/>' if book or tick else ""
        return f'<use href="#glass"/>{dark}{beside}'


def draw(glass: Glass, standing: str, zone: str, at: datetime) -> Drawn:
    """Draw a boiler's glass at `at`; one that is off or not surveyed has an empty frame with the word."""
    if standing in FRAMES:
        return Drawn(standing, None, f"{FRAMES[standing]}: no days of proof are shown.")
    if isinstance(glass, Waiting):
        return Drawn("waiting", None, "Days of proof left: being worked out.")
    if glass is None:
        return Drawn("undated", None, "No full proof here ends by time alone.")
    level = share(at, glass.proved_at, glass.exposed_at)
    book = share(glass.due_at, glass.proved_at, glass.exposed_at) if glass.due_at and glass.proved_at else None
    tick = share(at, glass.tick_proved_at, glass.tick_due_at) if glass.tick_due_at else None
    left = days(glass.exposed_at, zone, at)
    aside = ASIDE.get(standing, "") if left else ""
    return Drawn("", left, said(glass, zone, at), level, book, tick, aside)


def share(at: datetime, proved: datetime | None, end: datetime | None) -> float:
    """How much of the span from the proof to its end is left at `at`: 1 all of it, 0 nothing or never proven."""
    if proved is None or end is None or end <= proved:
        return 0.0
    return min(1.0, max(0.0, (end - at) / (end - proved)))


def days(end: datetime, zone: str, at: datetime) -> int:
    """Whole days of the building from today to the day it ends; none once it has ended."""
    return max(0, (day_of(end, zone) - day_of(at, zone)).days)


def said(glass: Reading, zone: str, at: datetime) -> str:
    """The same in a sentence for who listens instead of looking."""
    left, hazard, until = days(glass.exposed_at, zone, at), glass.hazard.replace("_", " "), on(glass.exposed_at, zone)
    by = f"by the {glass.place}{_week(glass, zone, at)}"
    if glass.exposed_at <= at:
        return f"No day of proof left: {hazard} is exposed since {until} {by}."
    book = f"; book from {on(glass.due_at, zone)}" if glass.due_at else ""
    unit = "day" if left == 1 else "days"
    by = f"by the {glass.place}{book}{_week(glass, zone, at)}"
    return f"{left} {unit} of proof left: {hazard} is exposed from {until} {by}."


def _week(glass: Reading, zone: str, at: datetime) -> str:
    if glass.tick_due_at is None:
        return ""
    return f"; weekly work due {'since ' if glass.tick_due_at <= at else ''}{on(glass.tick_due_at, zone)}"


def _y(share_of_slot: float, offset: float = 0.0) -> str:
    """A height in the slot as the drawing wants it, in as few letters as it can."""
    return f"{BOTTOM - share_of_slot * (BOTTOM - TOP) + offset:.1f}".removesuffix(".0")
