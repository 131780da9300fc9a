"""The boiler's water side in numbers: minutes to the cutoff and the lowest safe line, trip heights, make-up water."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from itertools import pairwise
from uuid import UUID

from fleet.engineering.makeup import MeterReading, WaterUse, water_uses
from fleet.errors import Refused
from fleet.portfolio.models import Position
from fleet.web.boiler.boiler_data import HEIGHT_READINGS, BoilerData, Measure
from fleet.web.boiler.panels import (
    CalculationAnswer,
    Cell,
    Panel,
    PanelColumn,
    PanelRow,
    Plot,
    newest_first,
    run_calculation,
    to_cell,
    to_row,
)
from fleet.web.boiler.pressure_side import highest_cut_out_psi
from fleet.web.shared.number_format import in_brief, to_figures

CUTOFF_ROLES = ("upper_cutoff", "lower_cutoff")
LEVEL_NAMES = {"normal_line_in": "the normal line", "lowest_safe_line_in": "the lowest safe line"}
NEEDED_NAMES = {**LEVEL_NAMES, "water_surface_ft2": "the water surface", "output_btu_h": "the output"}
DAY = timedelta(days=1)
MIN_PERIOD_DAYS = (
    1.0  # a rate over less than a day is refilling after a test, not consumption of the system (our choice)
)
MAKEUP_COLUMNS = (
    PanelColumn("Make-up a day", "gal"),
    PanelColumn("Used", "gal"),
    PanelColumn("In days"),
    PanelColumn("Note"),
)
MAX_RATES = 200  # rates passed to the change detector, which uses fewer


@dataclass(frozen=True, slots=True)
class WaterTime:
    """One cutoff: the height at which it trips, how that is known, and the minutes."""

    name: str
    trip_in: float
    known_by: str
    answer: CalculationAnswer


@dataclass(frozen=True, slots=True)
class WaterTimesPanel:
    """The minutes for each cutoff, or which data are missing."""

    times: tuple[WaterTime, ...]
    missing: tuple[str, ...]
    basis: str

    @property
    def summary(self) -> str:
        """The shortest time to a cutoff in a few words."""
        minutes = [m for time in self.times if (m := time.answer.number("minutes_to_cutoff")) is not None]
        return (
            f"{to_figures(min(minutes), 2)} min of water to a cutoff"
            if minutes
            else "water time cannot be computed yet"
        )


@dataclass(frozen=True, slots=True)
class MeterPeriod:
    """Water used between two readings of one meter position."""

    measure: Measure
    use: WaterUse


def water_times(boiler_data: BoilerData) -> WaterTimesPanel:
    """Return the water times if nothing returns and nothing is fed, as in the first minutes and the worst case."""
    values = {key: boiler_data.boiler_number(key) for key in NEEDED_NAMES}
    missing = [NEEDED_NAMES[key] for key, value in values.items() if value is None]
    heights = list(_trip_heights(boiler_data))
    missing += [] if heights else ["the height at which a cutoff trips"]
    psi = highest_cut_out_psi(boiler_data)
    pressure = f"{in_brief(psi or 0.0, 'psi')}{'' if psi is None else ' (the cut-out)'}"
    basis = f"At {pressure}, at sea level, with no condensate coming back."
    if missing:
        return WaterTimesPanel((), tuple(missing), basis)
    inputs = {
        "normal_in": values["normal_line_in"],
        "lowest_in": values["lowest_safe_line_in"],
        "surface_ft2": values["water_surface_ft2"],
        "output_btu_h": values["output_btu_h"],
        "pressure_psig": psi or 0.0,
    }
    cutoff_times = [
        WaterTime(p.name, trip, by, run_calculation("water_times", cutoff_in=trip, **inputs)) for p, trip, by in heights
    ]
    return WaterTimesPanel(tuple(sorted(cutoff_times, key=lambda time: -time.trip_in)), (), basis)


def _trip_heights(boiler_data: BoilerData) -> Iterator[tuple[Position, float, str]]:
    """Yield the height at which each cutoff trips: by its newest drain test, else by the register."""
    for place in boiler_data.positions_of_role(*CUTOFF_ROLES):
        measures = [m for m in boiler_data.measures_of(HEIGHT_READINGS, place.id) if m.number("trip_in") is not None]
        recorded_height = boiler_data.occupant_at(place.id).number("trip_in")
        if measures:
            yield place, measures[-1].number("trip_in") or 0.0, "by its newest drain"
        elif recorded_height is not None:
            yield place, recorded_height, "by the register"


def height_panels(boiler_data: BoilerData) -> list[Panel]:
    """Return a panel of trip heights for each cutoff with at least one drain test."""
    return [
        panel
        for p in boiler_data.positions_of_role(*CUTOFF_ROLES)
        if (panel := _height_panel(boiler_data, p)) is not None
    ]


def _height_panel(boiler_data: BoilerData, place: Position) -> Panel | None:
    lowest = boiler_data.boiler_number("lowest_safe_line_in")
    trips = [
        (m, trip)
        for m in boiler_data.measures_of(HEIGHT_READINGS, place.id)
        if (trip := m.number("trip_in")) is not None
    ]
    if not trips:
        return None
    rows = [to_row(m, (to_cell(trip), to_cell(lowest))) for m, trip in trips]
    newest = trips[-1][1]
    answer = f"Newest: {in_brief(newest, 'in')} over the bottom of the glass"
    answer += f", the lowest safe line at {in_brief(lowest, 'in')}." if lowest is not None else "."
    plot = Plot(f"At which height does the {place.name} trip?", answer, "in", ((0, "points"), (1, "line")), least=4.0)
    columns = (PanelColumn("Tripped at", "in"), PanelColumn("Lowest safe line", "in"))
    return Panel(
        f"trips-{place.id}",
        place.name,
        columns=columns,
        rows=newest_first(rows),
        plots=(plot,),
        calculations=("cutoff_trip",),
    )


def makeup_periods(boiler_data: BoilerData, place: UUID) -> list[MeterPeriod]:
    """Return the water used between readings at one position, noting a replaced meter, a rollover or a misreading."""
    periods = []
    readings = [m for m in boiler_data.measures_of(("meter_reading",), place) if m.number("reading") is not None]
    for early, late in pairwise(readings):
        if late.at > early.at:
            periods.append(MeterPeriod(late, _use_between(boiler_data, place, early, late)))
    return periods


def _use_between(boiler_data: BoilerData, place: UUID, early: Measure, late: Measure) -> WaterUse:
    """Return what `engineering.makeup` makes of two readings, in gallons as read."""
    meter = boiler_data.occupant_at(place, late.at)
    points = [
        MeterReading(
            (m.at - early.at) / DAY, m.number("reading") or 0.0, str(boiler_data.occupant_at(place, m.at).device)
        )
        for m in (early, late)
    ]
    try:
        return water_uses(points, meter.number("rolls_over_gal"))[0]
    except Refused as refused:
        return WaterUse(0.0, (late.at - early.at) / DAY, None, refused.faults[0].message.removeprefix("values: "))


def makeup_panels(boiler_data: BoilerData) -> list[Panel]:
    """Return a panel for each make-up meter; an empty one if there is no meter."""
    return [_makeup_panel(boiler_data, place) for place in boiler_data.positions_of_role("makeup_meter")] or [
        _build_panel((), ())
    ]


def _makeup_panel(boiler_data: BoilerData, place: Position) -> Panel:
    periods = makeup_periods(boiler_data, place.id)
    if not periods:
        return _build_panel((), (), place)
    rows = [to_row(p.measure, _makeup_cells(p)) for p in periods]
    plot = Plot(
        "Is it using more water than it used to?",
        change_word(periods),
        "gal a day",
        ((0, "points"),),
        least=10.0,
        zero=True,
    )
    return _build_panel(newest_first(rows), (plot,), place)


def _makeup_cells(period: MeterPeriod) -> tuple[Cell, ...]:
    use = period.use
    note = use.note or ("under a day: not compared" if use.days < MIN_PERIOD_DAYS else "")
    rate = use.gallons_per_day
    rate_cell = to_cell(rate) if use.days >= MIN_PERIOD_DAYS else _text_cell(rate)
    return rate_cell, to_cell(use.gallons, 4), to_cell(use.days), Cell(note or "\u2013")


def _text_cell(rate: float | None) -> Cell:
    """Return a rate as text only, so that it is not drawn."""
    return Cell("\u2013" if rate is None else in_brief(rate, "gal"))


def change_word(periods: list[MeterPeriod]) -> str:
    """Return what the change detector says of the newest rate against the boiler's own past."""
    rates = [r for p in periods if p.use.days >= MIN_PERIOD_DAYS and (r := p.use.gallons_per_day) is not None][
        -MAX_RATES:
    ]
    if not rates:
        return "No period is known well enough to compare."
    newest = f"Newest: {in_brief(rates[-1], 'gal')} a day"
    answer = run_calculation("makeup_change", rates=rates)
    says, usual = answer.outputs.get("says"), answer.number("usual")
    if says == "not enough" or usual is None:
        return f"{newest}. Too few periods to say whether that is more: {answer.outputs.get('needs')} needed."
    times, by_luck = answer.number("times") or 0.0, 100 * (answer.number("false_alarm") or 0.0)
    word = {"jump": "A jump", "growing": "Growing", "usual": "As usual"}[str(says)]
    compared = f"{to_figures(times, 2)} times the usual {in_brief(usual, 'gal')}"
    return (
        f"{word}. {newest}, {compared}; chance of a false alarm: {to_figures(by_luck, 2)} %. "
        "Weather is not taken into account."
    )


def _build_panel(rows: tuple[PanelRow, ...], plots: tuple[Plot, ...], place: Position | None = None) -> Panel:
    empty_text = "Two readings of the meter are needed." if place else "No make-up meter is on record."
    return Panel(
        code=f"make-up-{place.id}" if place else "make-up",
        title=place.name if place else "Make-up",
        columns=MAKEUP_COLUMNS,
        rows=rows,
        plots=plots,
        empty_text=empty_text,
        caution="New water brings oxygen and scale: look for the leak before it becomes a crack.",
        calculations=("meter_use", "makeup_change"),
    )
