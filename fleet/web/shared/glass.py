"""The proof glass: days of proof left, drawn like a reflex glass, for the board, the building and the wall."""

from dataclasses import dataclass
from datetime import datetime

from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

from fleet.board.glasses import GlassReading, PendingGlass, ShownGlass
from fleet.calendar import day_of
from fleet.rules.values import Standing
from fleet.rules.wording import local_day

# Top and bottom of the pane. The drawing is 20 wide and 44 high; the pane goes from x 7 to 13.
TOP, BOTTOM = 4.0, 40.0
FRAMES = {Standing.OFF.value: "Off", Standing.NOT_SURVEYED.value: "Not surveyed"}
ASIDE_TEXTS = {
    Standing.HOLD.value: "Its proofs have time left: the hold has another cause.",
    Standing.EXPOSED.value: "Its proofs have time left: it is exposed for another cause.",
}


@dataclass(frozen=True, slots=True)
class GlassDrawing:
    """One glass at an instant: the days left, heights as shares of the pane, and the text; or an empty `frame`."""

    frame: str
    days: int | None
    text: str
    level: float = 0.0
    book: float | None = None
    tick: float | None = None
    aside: str = ""  # why the standing is bad although the glass is not empty

    @property
    def days_text(self) -> str:
        """The days left with their unit: "1 day"; "" if the glass shows none."""
        return "" if self.days is None else f"{self.days} day{'' if self.days == 1 else 's'}"

    @property
    def headline(self) -> str:
        """The days left with the legend: "12 days of proof left, not water"."""
        return f"{self.days_text or 'Days'} of proof left, not water"

    @property
    def full_text(self) -> str:
        """The text, and why the standing is bad although the glass is not empty."""
        return f"{self.text} {self.aside}".strip()

    @property
    def detail(self) -> str:
        """The part of the text beside the number of days."""
        return self.text.partition(": ")[2]

    @property
    def svg(self) -> SafeString:
        """The drawing, hidden from screen readers; the template adds the text."""
        return mark_safe(f'<svg class="glass" viewBox="0 0 20 44" aria-hidden="true">{self.inner}</svg>')

    @property
    def inner(self) -> str:
        """The parts of the drawing: the shared frame, the dark part, and the two marks beside it."""
        if self.days is None:
            return f'<use href="#glass-{escape(self.frame)}"/>'
        dark = f'<path d="M7 {_slot_height(self.level)}h6V40H7z"/>' if self.level > 0 else ""
        book = f"M0 {_slot_height(self.book, -1)}h4v2H0z" if self.book is not None else ""
        tick = f"M20 {_slot_height(self.tick, -2.5)}v5l-4-2.5z" if self.tick is not None else ""
        beside = f'<path class="at" d="{book}{tick}"/>' if book or tick else ""
        return f'<use href="#glass"/>{dark}{beside}'


def draw_glass(glass: ShownGlass, standing: str, zone: str, at: datetime) -> GlassDrawing:
    """Draw a boiler's glass at `at`; a boiler that is off or not surveyed gets an empty frame and a sentence."""
    if standing in FRAMES:
        return GlassDrawing(standing, None, f"{FRAMES[standing]}: no days of proof are shown.")
    if isinstance(glass, PendingGlass):
        return GlassDrawing("waiting", None, "Days of proof left: being worked out.")
    if glass is None:
        return GlassDrawing("undated", None, "No full proof here ends by time alone.")
    level = remaining_share(at, glass.proved_at, glass.exposed_at)
    book = (
        remaining_share(glass.due_at, glass.proved_at, glass.exposed_at) if glass.due_at and glass.proved_at else None
    )
    tick = remaining_share(at, glass.tick_proved_at, glass.tick_due_at) if glass.tick_due_at else None
    days_left = days_until(glass.exposed_at, zone, at)
    aside = ASIDE_TEXTS.get(standing, "") if days_left else ""
    return GlassDrawing(
        "", days_left, text=describe_glass(glass, zone, at), level=level, book=book, tick=tick, aside=aside
    )


def remaining_share(at: datetime, proved: datetime | None, end: datetime | None) -> float:
    """Return the share of the time from proof to end that is left at `at`: 1 all of it, 0 nothing or never proven."""
    if proved is None or end is None or end <= proved:
        return 0.0
    return min(1.0, max(0.0, (end - at) / (end - proved)))


def days_until(end: datetime, zone: str, at: datetime) -> int:
    """Return the whole local days from today to the day of `end`; 0 once it has ended."""
    return max(0, (day_of(end, zone) - day_of(at, zone)).days)


def describe_glass(glass: GlassReading, zone: str, at: datetime) -> str:
    """Return the glass as a sentence, for screen readers."""
    days_left, hazard, until = (
        days_until(glass.exposed_at, zone, at),
        glass.hazard.replace("_", " "),
        local_day(glass.exposed_at, zone),
    )
    cause = f"by the {glass.place}{_weekly_text(glass, zone, at)}"
    if glass.exposed_at <= at:
        return f"No day of proof left: {hazard} is exposed since {until} {cause}."
    book = f"; book from {local_day(glass.due_at, zone)}" if glass.due_at else ""
    unit = "day" if days_left == 1 else "days"
    cause = f"by the {glass.place}{book}{_weekly_text(glass, zone, at)}"
    return f"{days_left} {unit} of proof left: {hazard} is exposed from {until} {cause}."


def _weekly_text(glass: GlassReading, zone: str, at: datetime) -> str:
    if glass.tick_due_at is None:
        return ""
    return f"; weekly work due {'since ' if glass.tick_due_at <= at else ''}{local_day(glass.tick_due_at, zone)}"


def _slot_height(share_of_slot: float, offset: float = 0.0) -> str:
    """Return a height in the slot as a short string for the drawing."""
    return f"{BOTTOM - share_of_slot * (BOTTOM - TOP) + offset:.1f}".removesuffix(".0")
