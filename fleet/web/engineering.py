"""The numbers of one boiler and of one visit: gathered here for the pages, computed by `fleet.engineering`."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404

from fleet.accounts import policy
from fleet.assessments.queries import Line
from fleet.engineering.ladder import MOST_PSI
from fleet.portfolio.models import Boiler
from fleet.rules.values import Terms
from fleet.rules.vocabulary import EntryAct
from fleet.terms.models import Adoption
from fleet.terms.values import as_terms
from fleet.visits.models import Visit
from fleet.web import fire_side, pressure_side, water_side
from fleet.web.figures import FIGURES, US, brief, figures, reader
from fleet.web.measured import HEIGHTS, TESTS, TRIPS, Measure, Measured, of_boiler
from fleet.web.pages import page
from fleet.web.panels import Panel


@dataclass(frozen=True, slots=True)
class Numbers:
    """All numbers that the boiler page shows."""

    ladder: pressure_side.LadderPanel
    relief: pressure_side.ReliefPanel
    times: water_side.TimesPanel
    trips: tuple[Panel, ...]
    trends: tuple[Panel, ...]
    may_read: bool
    measured: Measured
    terms: Terms

    @property
    def panels(self) -> tuple[Panel, ...]:
        """All panels of readings over time."""
        return self.trips + self.trends

    @property
    def most_psi(self) -> float:
        """The maximum set pressure of a low-pressure steam boiler, psi."""
        return MOST_PSI

    @property
    def lacking(self) -> list[str]:
        """One sentence for each trend without readings."""
        return [panel.nothing for panel in self.trends if not panel.rows and panel.nothing]

    @property
    def drawn(self) -> bool:
        """Whether any chart is drawn."""
        return any(panel.plots and panel.has_course for panel in self.panels)


def numbers(boiler: Boiler, at: datetime, may_read: bool) -> Numbers:
    """Return a boiler's numbers; readings only if the user may read visits."""
    measured, terms = of_boiler(boiler, at, may_read), _terms(boiler, at)
    trends = [fire_side.combustion(measured), fire_side.fired(measured), *water_side.makeup(measured)]
    return Numbers(
        ladder=pressure_side.pressure_ladder(measured),
        relief=pressure_side.relief_margin(measured, terms),
        times=water_side.times(measured),
        trips=tuple(p.for_reader() for p in (*pressure_side.trips(measured), *water_side.heights(measured))),
        trends=tuple(p.for_reader() for p in trends) if may_read else (),
        may_read=may_read,
        measured=measured,
        terms=terms,
    )


def _terms(boiler: Boiler, at: datetime) -> Terms:
    """Return the terms the portfolio has in force at `at`; the defaults if it adopted none."""
    adopted = as_terms(Adoption.objects.filter(portfolio=boiler.portfolio_id).order_by("version"), boiler.building.zone)
    return [terms for terms in adopted if terms.since is None or terms.since <= at][-1]


@page
def download(request: HttpRequest, at: datetime, boiler_id: UUID, panel: str) -> HttpResponse:
    """Send one panel's table as CSV; 404 unless the user may read the visits it rests on."""
    seen = policy.boilers(request.user, "visit.see", at).select_related("building")
    boiler = get_object_or_404(seen, id=boiler_id)
    with reader(lambda: US):  # programs read the file, so it always uses US units, named in its headings
        found = {p.code: p for p in numbers(boiler, at, may_read=True).panels}
    if panel not in found:
        raise Http404
    response = HttpResponse(found[panel].as_csv(boiler.building.zone), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{boiler.building.ref}-{boiler.ref}-{panel}.csv"'
    return response


def of_visit(visit: Visit, lines: Iterable[Line]) -> dict[str, list[str]]:
    """Return the sentences derived from each entry's readings, by entry id. A visit without readings costs no query."""
    entries = [line.entry for line in lines if line.entry.act == EntryAct.TEST and line.entry.code in TESTS]
    if not entries:
        return {}
    measured = of_boiler(visit.boiler, max(e.performed_at for e in entries), may_read=True)
    own = {e.id: _measure(e) for e in entries}
    return {str(e.id): _said(measured, own[e.id]) for e in entries}


def _measure(entry: Any) -> Measure:
    """Build the measure from the loaded entry, so that entries of a corrected visit also show their results."""
    read = {r.name: r.number if r.number is not None else r.word for r in entry.readings.all() if r.flag is None}
    return Measure(entry.id, entry.visit_id, entry.number + 1, entry.code, entry.position_id, entry.performed_at, read)


def _said(measured: Measured, measure: Measure) -> list[str]:
    if measure.code == "combustion_test":
        return _flue(measured, measure)
    if measure.code == "clock_input":
        return _input(measured, measure)
    if measure.code == "meter_reading":
        return _meter(measured, measure)
    return _trip(measured, measure)


def _flue(measured: Measured, measure: Measure) -> list[str]:
    code, words = fire_side.fuel(measured)
    one = fire_side.burned(measure, code)
    found = []
    if (air_free := one.air_free.number("air_free_ppm")) is not None:
        found.append(f"Carbon monoxide air-free: {figures(air_free, 3)} ppm.")
    if not one.flue.outputs:
        return [*found, f"No efficiency: {one.flue.refused}"]
    excess, loss, good = (figures(one.flue.number(f"{n}_percent") or 0.0, 3) for n in FLUE)
    return [
        *found,
        f"Excess air {excess} %. Up the stack {loss} %, efficiency {good} % of gross heating value, {words}.",
    ]


FLUE = ("excess_air", "stack_loss_gross", "efficiency_gross")


def _input(measured: Measured, measure: Measure) -> list[str]:
    value, plate = fire_side.clocked_btu_h(measure), fire_side.plate_btu_h(measured, measure)
    if not value:
        return []
    share = fire_side.share_percent(value, plate)
    shown = f"Input {brief(value, 'Btu/h', FIGURES)}"
    return [f"{shown}, {figures(share, 3)} % of the plate." if share else f"{shown}. {fire_side.NO_PLATE}"]


def _meter(measured: Measured, measure: Measure) -> list[str]:
    found = [p for p in water_side.periods(measured, measure.place) if p.measure.entry == measure.entry]
    if not found:
        first = measured.tests(("meter_reading",), measure.place)[:1]
        told = "The first reading of this meter that counts: nothing to compare with yet."
        return [told] if first and first[0].entry == measure.entry else []
    use = found[0].use
    if use.gallons_per_day is None:
        return [f"Use since the reading before is not known: {use.note}."]
    noted = f", {use.note}" if use.note else ""
    return [f"{brief(use.gallons_per_day, 'gal')} a day over {figures(use.days, 3)} days{noted}."]


def _trip(measured: Measured, measure: Measure) -> list[str]:
    if measure.code in HEIGHTS:
        lowest, trip = measured.value("lowest_safe_line_in"), measure.number("trip_in")
        told = pressure_side.against(trip, lowest, "in").replace("its set point", "the lowest safe line")
    else:
        place = next((p for p in measured.places if p.id == measure.place), None)
        point = pressure_side.set_point(measured, place, measure) if place else None
        told = pressure_side.against(measure.number(TRIPS[measure.code]), point, "psi")
    return [f"{told[:1].upper()}{told[1:]}."] if told else []
