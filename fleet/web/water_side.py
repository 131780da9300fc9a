"""The boiler's water side in numbers: minutes to the cutoff and the lowest safe line, trip heights, make-up water."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from itertools import pairwise
from uuid import UUID

from fleet.engineering.makeup import Reading, Use, uses
from fleet.errors import Refused
from fleet.portfolio.models import Position
from fleet.web.figures import brief, figures
from fleet.web.measured import HEIGHTS, Measure, Measured
from fleet.web.panels import Answered, Cell, Column, Panel, Plot, Row, asked, cell, newest_first, row
from fleet.web.pressure_side import highest_cut_out_psi

CUTOFFS = ("upper_cutoff", "lower_cutoff")
LEVELS = {"normal_line_in": "the normal line", "lowest_safe_line_in": "the lowest safe line"}
NEEDED = {**LEVELS, "water_surface_ft2": "the water surface", "output_btu_h": "the output"}
DAY = timedelta(days=1)
LEAST_DAYS = 1.0  # a rate over less than a day is refilling after a test, not consumption of the system (our choice)
MADE_UP = (Column("Make-up a day", "gal"), Column("Used", "gal"), Column("In days"), Column("Note"))
PAST = 200  # rates passed to the change detector, which uses fewer


@dataclass(frozen=True, slots=True)
class Time:
    """One cutoff: the height at which it trips, how that is known, and the minutes."""

    name: str
    trip_in: float
    known_by: str
    answered: Answered


@dataclass(frozen=True, slots=True)
class TimesPanel:
    """The minutes for each cutoff, or which data are missing."""

    times: tuple[Time, ...]
    missing: tuple[str, ...]
    basis: str

    @property
    def newest(self) -> str:
        """The shortest time to a cutoff in a few words."""
        found = [m for time in self.times if (m := time.answered.number("minutes_to_cutoff")) is not None]
        return f"{figures(min(found), 2)} min of water to a cutoff" if found else "water not to be computed yet"


@dataclass(frozen=True, slots=True)
class Period:
    """Water used between two readings of one meter position."""

    measure: Measure
    use: Use


def times(measured: Measured) -> TimesPanel:
    """Return the water times if nothing returns and nothing is fed, as in the first minutes and the worst case."""
    values = {key: measured.value(key) for key in NEEDED}
    missing = [NEEDED[key] for key, value in values.items() if value is None]
    heights = list(_heights(measured))
    missing += [] if heights else ["the height at which a cutoff trips"]
    psi = highest_cut_out_psi(measured)
    basis = f"At {brief(psi or 0.0, 'psi')}{'' if psi is None else ', the cut-out'}, sea level; nothing comes back."
    if missing:
        return TimesPanel((), tuple(missing), basis)
    given = {
        "normal_in": values["normal_line_in"],
        "lowest_in": values["lowest_safe_line_in"],
        "surface_ft2": values["water_surface_ft2"],
        "output_btu_h": values["output_btu_h"],
        "pressure_psig": psi or 0.0,
    }
    found = [Time(p.name, trip, by, asked("water_times", cutoff_in=trip, **given)) for p, trip, by in heights]
    return TimesPanel(tuple(sorted(found, key=lambda time: -time.trip_in)), (), basis)


def _heights(measured: Measured) -> Iterator[tuple[Position, float, str]]:
    """Yield the height at which each cutoff trips: by its newest drain test, else by the register."""
    for place in measured.of_role(*CUTOFFS):
        tripped = [m for m in measured.tests(HEIGHTS, place.id) if m.number("trip_in") is not None]
        recorded = measured.occupant(place.id).number("trip_in")
        if tripped:
            yield place, tripped[-1].number("trip_in") or 0.0, "by its newest drain"
        elif recorded is not None:
            yield place, recorded, "by the register"


def heights(measured: Measured) -> list[Panel]:
    """Return a panel of trip heights for each cutoff with at least one drain test."""
    return [panel for p in measured.of_role(*CUTOFFS) if (panel := _heights_of(measured, p)) is not None]


def _heights_of(measured: Measured, place: Position) -> Panel | None:
    lowest = measured.value("lowest_safe_line_in")
    found = [(m, trip) for m in measured.tests(HEIGHTS, place.id) if (trip := m.number("trip_in")) is not None]
    if not found:
        return None
    rows = [row(m, (cell(trip), cell(lowest))) for m, trip in found]
    newest = found[-1][1]
    answer = f"Newest: {brief(newest, 'in')} over the bottom of the glass"
    answer += f", the lowest safe line at {brief(lowest, 'in')}." if lowest is not None else "."
    plot = Plot(f"At which height does the {place.name} trip?", answer, "in", ((0, "points"), (1, "line")), least=4.0)
    columns = (Column("Tripped at", "in"), Column("Lowest safe line", "in"))
    return Panel(f"trips-{place.id}", place.name, columns, newest_first(rows), (plot,))


def periods(measured: Measured, place: UUID) -> list[Period]:
    """Return the water used between readings at one position, noting a replaced meter, a rollover or a misreading."""
    found = []
    read = [m for m in measured.tests(("meter_reading",), place) if m.number("reading") is not None]
    for early, late in pairwise(read):
        if late.at > early.at:
            found.append(Period(late, _use(measured, place, early, late)))
    return found


def _use(measured: Measured, place: UUID, early: Measure, late: Measure) -> Use:
    """Return what `engineering.makeup` makes of two readings, in gallons as read."""
    meter = measured.occupant(place, late.at)
    points = [
        Reading((m.at - early.at) / DAY, m.number("reading") or 0.0, str(measured.occupant(place, m.at).device))
        for m in (early, late)
    ]
    try:
        return uses(points, meter.number("rolls_over_gal"))[0]
    except Refused as refused:
        return Use(0.0, (late.at - early.at) / DAY, None, refused.faults[0].message.removeprefix("values: "))


def makeup(measured: Measured) -> list[Panel]:
    """Return a panel for each make-up meter; an empty one if there is no meter."""
    return [_makeup_of(measured, place) for place in measured.of_role("makeup_meter")] or [_panel((), ())]


def _makeup_of(measured: Measured, place: Position) -> Panel:
    found = periods(measured, place.id)
    if not found:
        return _panel((), (), place)
    rows = [row(p.measure, _cells(p)) for p in found]
    plot = Plot(
        "Does it drink more than it used to?", change_word(found), "gal a day", ((0, "points"),), least=10.0, zero=True
    )
    return _panel(newest_first(rows), (plot,), place)


def _cells(period: Period) -> tuple[Cell, ...]:
    use = period.use
    note = use.note or ("under a day: not compared" if use.days < LEAST_DAYS else "")
    rate = use.gallons_per_day
    drawn = cell(rate) if use.days >= LEAST_DAYS else _undrawn(rate)
    return drawn, cell(use.gallons, 4), cell(use.days), Cell(note or "\u2013")


def _undrawn(rate: float | None) -> Cell:
    """Return a rate as text only, so that it is not drawn."""
    return Cell("\u2013" if rate is None else brief(rate, "gal"))


def change_word(found: list[Period]) -> str:
    """Return what the change detector says of the newest rate against the boiler's own past."""
    rates = [r for p in found if p.use.days >= LEAST_DAYS and (r := p.use.gallons_per_day) is not None][-PAST:]
    if not rates:
        return "No period is known well enough to compare."
    newest = f"Newest: {brief(rates[-1], 'gal')} a day"
    answered = asked("makeup_change", rates=rates)
    says, usual = answered.outputs.get("says"), answered.number("usual")
    if says == "not enough" or usual is None:
        return f"{newest}. Too few periods to say whether that is more: {answered.outputs.get('needs')} needed."
    times, by_luck = answered.number("times") or 0.0, 100 * (answered.number("false_alarm") or 0.0)
    word = {"jump": "A jump", "growing": "Growing", "usual": "As usual"}[str(says)]
    compared = f"{figures(times, 2)} times the usual {brief(usual, 'gal')}"
    return f"{word}. {newest}, {compared}; an alarm by luck: {figures(by_luck, 2)} %. Weather is not taken out."


def _panel(rows: tuple[Row, ...], plots: tuple[Plot, ...], place: Position | None = None) -> Panel:
    lacking = "Two readings of the meter are needed." if place else "No make-up meter is on record."
    return Panel(
        code=f"make-up-{place.id}" if place else "make-up",
        title=place.name if place else "Make-up",
        columns=MADE_UP,
        rows=rows,
        plots=plots,
        nothing=lacking,
        caution="New water brings oxygen and scale: look for the leak before it becomes a crack.",
    )
