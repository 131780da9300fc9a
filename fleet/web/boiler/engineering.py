"""The numbers of one boiler and of one visit: gathered here for the pages, computed by `fleet.engineering`."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404

from fleet.accounts import policy
from fleet.accounts.requests import user_of
from fleet.assessments.queries import EntryLine
from fleet.engineering.ladder import MAX_STEAM_PSI
from fleet.portfolio.models import Boiler
from fleet.rules.values import AdoptedTerms
from fleet.rules.vocabulary import EntryAct
from fleet.terms.models import Adoption
from fleet.terms.values import as_terms
from fleet.visits.models import Entry, Visit
from fleet.web.boiler import fire_side, pressure_side, water_side
from fleet.web.boiler.boiler_data import (
    HEIGHT_READINGS,
    MEASURING_TESTS,
    TRIP_READINGS,
    BoilerData,
    Measure,
    read_boiler_data,
)
from fleet.web.boiler.panels import Panel
from fleet.web.shared.number_format import DEFAULT_FIGURES, US, in_brief, to_figures, use_units
from fleet.web.shared.pages import signed_in_page


@dataclass(frozen=True, slots=True)
class BoilerNumbers:
    """All numbers that the boiler page shows."""

    ladder: pressure_side.LadderPanel
    relief: pressure_side.ReliefPanel
    times: water_side.WaterTimesPanel
    trips: tuple[Panel, ...]
    trends: tuple[Panel, ...]
    may_read: bool
    boiler_data: BoilerData
    terms: AdoptedTerms

    @property
    def panels(self) -> tuple[Panel, ...]:
        """All panels of readings over time."""
        return self.trips + self.trends

    @property
    def max_psi(self) -> float:
        """The maximum set pressure of a low-pressure steam boiler, psi."""
        return MAX_STEAM_PSI

    @property
    def missing_sentences(self) -> list[str]:
        """One sentence for each trend without readings."""
        return [panel.empty_text for panel in self.trends if not panel.rows and panel.empty_text]

    @property
    def has_charts(self) -> bool:
        """Whether any chart is drawn."""
        return any(panel.plots and panel.has_course for panel in self.panels)


def compute_numbers(boiler: Boiler, at: datetime, may_read: bool) -> BoilerNumbers:
    """Return a boiler's numbers; readings only if the user may read visits."""
    boiler_data, terms = read_boiler_data(boiler, at, may_read), _terms_in_force(boiler, at)
    trends = [
        fire_side.combustion_panel(boiler_data),
        fire_side.input_panel(boiler_data),
        *water_side.makeup_panels(boiler_data),
    ]
    return BoilerNumbers(
        ladder=pressure_side.pressure_ladder(boiler_data),
        relief=pressure_side.relief_margin(boiler_data, terms),
        times=water_side.water_times(boiler_data),
        trips=tuple(
            p.for_reader() for p in (*pressure_side.trip_panels(boiler_data), *water_side.height_panels(boiler_data))
        ),
        trends=tuple(p.for_reader() for p in trends) if may_read else (),
        may_read=may_read,
        boiler_data=boiler_data,
        terms=terms,
    )


def _terms_in_force(boiler: Boiler, at: datetime) -> AdoptedTerms:
    """Return the terms the portfolio has in force at `at`; the defaults if it adopted none."""
    adopted = as_terms(Adoption.objects.filter(portfolio=boiler.portfolio_id).order_by("version"), boiler.building.zone)
    return [terms for terms in adopted if terms.since is None or terms.since <= at][-1]


@signed_in_page
def download_panel(request: HttpRequest, at: datetime, boiler_id: UUID, panel: str) -> HttpResponse:
    """Send one panel's table as CSV; 404 unless the user may read the visits it rests on."""
    visible_boilers = policy.boilers_for(user_of(request), "visit.see", at).select_related("building")
    boiler = get_object_or_404(visible_boilers, id=boiler_id)
    with use_units(lambda: US):  # programs read the file, so it always uses US units, named in its headings
        panels_by_code = {p.code: p for p in compute_numbers(boiler, at, may_read=True).panels}
    if panel not in panels_by_code:
        raise Http404
    response = HttpResponse(panels_by_code[panel].as_csv(boiler.building.zone), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{boiler.building.ref}-{boiler.ref}-{panel}.csv"'
    return response


def derived_sentences(visit: Visit, lines: Iterable[EntryLine]) -> dict[str, list[str]]:
    """Return the sentences derived from each entry's readings, by entry id. A visit without readings costs no query."""
    entries = [line.entry for line in lines if line.entry.act == EntryAct.TEST and line.entry.code in MEASURING_TESTS]
    if not entries:
        return {}
    boiler_data = read_boiler_data(visit.boiler, max(e.performed_at for e in entries), may_read=True)
    measure_by_entry = {e.id: _entry_measure(e) for e in entries}
    return {str(e.id): _measure_sentences(boiler_data, measure_by_entry[e.id]) for e in entries}


def _entry_measure(entry: Entry) -> Measure:
    """Build the measure from the loaded entry, so that entries of a corrected visit also show their results."""
    readings = {r.name: r.number if r.number is not None else r.word for r in entry.readings.all() if r.flag is None}
    return Measure(
        entry.id,
        entry.visit_id,
        line=entry.number + 1,
        code=entry.code,
        place=entry.position_id,
        at=entry.performed_at,
        readings=readings,
    )


def _measure_sentences(boiler_data: BoilerData, measure: Measure) -> list[str]:
    if measure.code == "combustion_test":
        return _flue_sentences(boiler_data, measure)
    if measure.code == "clock_input":
        return _input_sentences(boiler_data, measure)
    if measure.code == "meter_reading":
        return _meter_sentences(boiler_data, measure)
    return _trip_sentences(boiler_data, measure)


def _flue_sentences(boiler_data: BoilerData, measure: Measure) -> list[str]:
    code, words = fire_side.boiler_fuel(boiler_data)
    flue_reading = fire_side.evaluate_flue(measure, code)
    sentences = []
    if (air_free := flue_reading.air_free.number("air_free_ppm")) is not None:
        sentences.append(f"Carbon monoxide air-free: {to_figures(air_free, 3)} ppm.")
    if not flue_reading.flue.outputs:
        return [*sentences, f"Efficiency not computed: {flue_reading.flue.refused}"]
    excess, loss, efficiency = (to_figures(flue_reading.flue.number(f"{n}_percent") or 0.0, 3) for n in FLUE_OUTPUTS)
    return [
        *sentences,
        f"Excess air {excess} %. Up the stack {loss} %, efficiency {efficiency} % of gross heating value, {words}.",
    ]


FLUE_OUTPUTS = ("excess_air", "stack_loss_gross", "efficiency_gross")


def _input_sentences(boiler_data: BoilerData, measure: Measure) -> list[str]:
    value, plate = fire_side.clocked_btu_h(measure), fire_side.plate_btu_h(boiler_data, measure)
    if not value:
        return []
    share = fire_side.share_percent(value, plate)
    text = f"Input {in_brief(value, 'Btu/h', DEFAULT_FIGURES)}"
    return [f"{text}, {to_figures(share, 3)} % of the plate." if share else f"{text}. {fire_side.NO_PLATE}"]


def _meter_sentences(boiler_data: BoilerData, measure: Measure) -> list[str]:
    place = measure.place
    of_meter = water_side.makeup_periods(boiler_data, place) if place else ()
    periods = [p for p in of_meter if p.measure.entry == measure.entry]
    if not periods:
        first = boiler_data.measures_of(("meter_reading",), measure.place)[:1]
        text = "This is the first reading of this meter that counts, so there is nothing to compare it with yet."
        return [text] if first and first[0].entry == measure.entry else []
    use = periods[0].use
    if use.gallons_per_day is None:
        return [f"The use since the previous reading is not known: {use.note}."]
    note = f", {use.note}" if use.note else ""
    return [f"{in_brief(use.gallons_per_day, 'gal')} a day over {to_figures(use.days, 3)} days{note}."]


def _trip_sentences(boiler_data: BoilerData, measure: Measure) -> list[str]:
    if measure.code in HEIGHT_READINGS:
        lowest, trip = boiler_data.boiler_number("lowest_safe_line_in"), measure.number("trip_in")
        text = pressure_side.describe_distance(trip, lowest, "in").replace("its set point", "the lowest safe line")
    else:
        place = next((p for p in boiler_data.places if p.id == measure.place), None)
        point = pressure_side.set_point_at(boiler_data, place, measure) if place else None
        text = pressure_side.describe_distance(measure.number(TRIP_READINGS[measure.code]), point, "psi")
    return [f"{text[:1].upper()}{text[1:]}."] if text else []
