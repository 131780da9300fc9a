"""The boiler's pressure side in numbers: the ladder of set points, trips over time, the relief margin."""

from contextlib import suppress
from dataclasses import dataclass
from itertools import product
from typing import Any

from fleet.engineering import ladder
from fleet.engineering.relief import SURFACE_LB_H_FT2
from fleet.engineering.verdicts import Judgement, Reason, judgement
from fleet.errors import Refused
from fleet.portfolio.models import Position
from fleet.rules.capacity import GREATER_OF, surface_counts
from fleet.rules.values import Terms
from fleet.web.figures import brief
from fleet.web.measured import TRIPS, Measure, Measured, Occupant
from fleet.web.panels import Answered, Column, Panel, Plot, asked, cell, newest_first, row

OUTPUT_ONLY = "output_only"
RULE_WORDS = {OUTPUT_ONLY: "output / 1000", GREATER_OF: "the greater of output / 1000 and the surface table"}
AS_BUILT = (("firing", "oil_gas"), ("construction", "watertube"))
VALVES = "safety_valve"
SET = {"operating_control": "cut_out_psi", "high_limit": "set_psi", VALVES: "set_psi"}
RUNG_NAMES = {"cut_in_psi": "cut-in", "cut_out_psi": "cut-out", "limit_psi": "high limit", "valve_psi": "safety valve"}

SAME = 1e-9  # largest difference that rounding errors make
LEAST_SPAN_PSI = 4.0  # minimum span of a chart: a tenth of a psi must not look like a fall


@dataclass(frozen=True, slots=True)
class LadderPanel:
    """The judgement of the set points, whether any is on record, and the names of those that are not."""

    known: bool
    judged: Judgement
    unknown: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ReliefPanel:
    """The stamps of the valves against what the output needs; `missing` says why there is no verdict."""

    stamps: tuple[tuple[str, float | None], ...]
    answered: Answered | None
    rule: str
    missing: str = ""

    @property
    def newest(self) -> str:
        """The verdict in a few words."""
        if self.answered is None or self.answered.refused:
            return "relief not to be compared"
        verdict = str(self.answered.outputs.get("verdict")).replace("_", " ")
        return "stamps are enough" if verdict == "good" else f"relief: {verdict}"


def against(read: float | None, point: float | None, unit: str) -> str:
    """Return how far a reading is from its set point, in words; "" if either is not known."""
    if read is None or point is None:
        return ""
    if abs(read - point) < SAME:
        return "at its set point"
    return f"{brief(abs(read - point), unit, 2)} {'over' if read > point else 'under'} its set point"


def pressure_ladder(measured: Measured) -> LadderPanel:
    """Return the judgement of the ladder as it is set now."""
    judged = _judged(measured)
    return LadderPanel(len(judged.unknown) < len(RUNG_NAMES), judged, tuple(RUNG_NAMES[u] for u in judged.unknown))


def cut_in_out(control: Occupant) -> tuple[float | None, float | None]:
    """Return cut-in and cut-out of a control in psi: as set, or one from the other and the differential."""
    low, high, between = (control.number(key) for key in ("cut_in_psi", "cut_out_psi", "differential_psi"))
    with suppress(Refused):  # an impossible differential gives no second rung; the one on record is kept
        if low is None and high is not None and between is not None:
            return ladder.cut_in(high, between, "subtractive"), high
        if high is None and low is not None and between is not None:
            return low, ladder.cut_out(low, between, "additive")
    return low, high


def highest_cut_out_psi(measured: Measured) -> float | None:
    """Return the pressure in psi that the operating controls let the boiler reach; None if none is on record."""
    found = [cut_in_out(measured.occupant(p.id))[1] for p in measured.of_role("operating_control")]
    return max((psi for psi in found if psi is not None), default=None)


def relief_margin(measured: Measured, terms: Terms) -> ReliefPanel:
    """Return the margin of all valves together, by the rule the portfolio adopted."""
    valves = [(p, measured.occupant(p.id)) for p in measured.of_role(VALVES)]
    stamps = tuple((p.name, v.number("capacity_lb_h")) for p, v in valves if v.device)
    by_surface = surface_counts(measured.boilers_values, terms)
    rule, output = GREATER_OF if by_surface else OUTPUT_ONLY, measured.value("output_btu_h")
    needed = {"the boiler's output": output, "a safety valve": stamps}
    needed |= {"the heating surface": measured.value("heating_surface_ft2")} if by_surface else {}
    missing = [words for words, there in needed.items() if not there]
    if missing:
        return ReliefPanel(stamps, None, RULE_WORDS[rule], " and ".join(missing))
    given = {"output_btu_h": output, "stamped_lb_h": [stamp for _, stamp in stamps], "rule": rule}
    more = _as_built(measured) if by_surface else {}
    return ReliefPanel(stamps, asked("relief_margin", **given, **more), RULE_WORDS[rule])


def _as_built(measured: Measured) -> dict[str, Any]:
    """Return the heating surface and its row of the table; for an unknown build, the row with the highest demand."""
    built = tuple(str(measured.boilers_values.get(key) or usual) for key, usual in AS_BUILT)
    firing, kind = built if built in SURFACE_LB_H_FT2 else tuple(usual for _, usual in AS_BUILT)
    return {"surface_ft2": measured.value("heating_surface_ft2"), "firing": firing, "kind": kind}


def trips(measured: Measured) -> list[Panel]:
    """Return a panel for each control and valve with at least one trip reading."""
    places = measured.of_role(*SET)
    return [panel for place in places if (panel := _trips_of(measured, place)) is not None]


def set_point(measured: Measured, place: Position, measure: Measure) -> float | None:
    """Return what the device was set to, in psi, at the time of the reading; None if not on record."""
    occupant = measured.occupant(place.id, measure.at)
    return cut_in_out(occupant)[1] if place.role_id == "operating_control" else occupant.number(SET[place.role_id])


def _trips_of(measured: Measured, place: Position) -> Panel | None:
    read = [(m, m.number(TRIPS[m.code])) for m in measured.tests(TRIPS, place.id)]
    found = [(m, trip, set_point(measured, place, m)) for m, trip in read if trip is not None]
    if not found:
        return None
    rows = [
        row(m, (cell(trip, unit="psi"), cell(point, unit="psi"), cell(_off(trip, point), 2)))
        for m, trip, point in found
    ]
    _, trip, point = found[-1]
    newest = against(trip, point, "psi") or "its set point was not on record"
    verb = "open" if place.role_id != "high_limit" else "trip"
    question = f"Does the {place.name} still {verb} where it is set?"
    answer = f"Newest: {brief(trip, 'psi')}, {newest}."
    plot = Plot(question, answer, "psi", ((0, "points"), (1, "line")), least=LEAST_SPAN_PSI)
    tripped = "Tripped at" if verb == "trip" else "Opened at"
    columns = tuple(Column(name, "psi") for name in (tripped, "Set at", "Off by"))
    return Panel(f"trips-{place.id}", place.name, columns, newest_first(rows), (plot,))


def _off(trip: float, point: float | None) -> float | None:
    return None if point is None else trip - point


def _judged(measured: Measured) -> Judgement:
    """Judge every control with every limit against the valve that opens first, as the rules do."""
    fitted = {role: [o for p in measured.of_role(role) if (o := measured.occupant(p.id)).device] for role in SET}
    valve = min((v for o in fitted[VALVES] if (v := o.number("set_psi")) is not None), default=None)
    controls, limits = (fitted[role] or [Occupant()] for role in ("operating_control", "high_limit"))
    rungs = [(*cut_in_out(control), limit.number("set_psi"), valve) for control, limit in product(controls, limits)]
    found = [_judged_or_told(ladder.Ladder(*each)) for each in rungs]
    reasons = dict.fromkeys(reason for one in found for reason in one.reasons)
    return judgement(reasons, dict.fromkeys(name for one in found for name in one.unknown))


def _judged_or_told(rungs: ladder.Ladder) -> Judgement:
    """Return the judgement; for impossible set points, one that says why it is inconclusive."""
    try:
        return ladder.judge(rungs)
    except Refused as refused:
        told = f"A set point on record cannot be: {refused.faults[0].message.partition(': ')[2]}"
        return judgement([Reason("impossible", "inconclusive", told)])
