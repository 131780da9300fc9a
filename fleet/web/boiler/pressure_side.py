"""The boiler's pressure side in numbers: the ladder of set points, trips over time, the relief margin."""

from contextlib import suppress
from dataclasses import dataclass
from itertools import product

from fleet.engineering import ladder
from fleet.engineering.relief import SURFACE_LB_H_FT2
from fleet.engineering.verdicts import EngineeringJudgement, EngineeringReason, judge_reasons
from fleet.errors import Refused
from fleet.portfolio.models import Position
from fleet.rules.capacity import GREATER_OF_RULE, explain_input_for_output, surface_counts, with_known_output
from fleet.rules.needed_roles import sum_burner_inputs
from fleet.rules.values import AdoptedTerms, as_number
from fleet.web.boiler.boiler_data import TRIP_READINGS, BoilerData, Measure, PlaceOccupant
from fleet.web.boiler.panels import (
    CalculationAnswer,
    Panel,
    PanelColumn,
    Plot,
    newest_first,
    run_calculation,
    to_cell,
    to_row,
)
from fleet.web.shared.number_format import in_brief

OUTPUT_ONLY = "output_only"
RULE_WORDS = {OUTPUT_ONLY: "output / 1000", GREATER_OF_RULE: "the greater of output / 1000 and the surface table"}
USUAL_BUILD = (("firing", "oil_gas"), ("construction", "watertube"))
VALVE_ROLE = "safety_valve"
SET_POINT_KEYS = {"operating_control": "cut_out_psi", "high_limit": "set_psi", VALVE_ROLE: "set_psi"}
TRIP_CALCULATIONS = {"operating_control": ("control_trip",), "high_limit": ("limit_trip",), VALVE_ROLE: ("ladder",)}
RUNG_NAMES = {"cut_in_psi": "cut-in", "cut_out_psi": "cut-out", "limit_psi": "high limit", "valve_psi": "safety valve"}

ROUNDING_TOLERANCE = 1e-9  # largest difference that rounding errors make
MIN_SPAN_PSI = 4.0  # minimum span of a chart: a tenth of a psi must not look like a fall


@dataclass(frozen=True, slots=True)
class LadderPanel:
    """The judgement of the set points, whether any is on record, and the names of those that are not."""

    has_set_points: bool
    judgement: EngineeringJudgement
    unknown: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ReliefPanel:
    """The stamps of the valves against what the output needs; `missing` says why there is no verdict."""

    stamps: tuple[tuple[str, float | None], ...]
    answer: CalculationAnswer | None
    rule: str
    missing: str = ""

    @property
    def summary(self) -> str:
        """The verdict in a few words."""
        if self.answer is None or self.answer.refused:
            return "relief cannot be compared"
        verdict = str(self.answer.outputs.get("verdict")).replace("_", " ")
        return "stamps are enough" if verdict == "good" else f"relief: {verdict}"


def describe_distance(read: float | None, point: float | None, unit: str) -> str:
    """Return how far a reading is from its set point, in words; "" if either is not known."""
    if read is None or point is None:
        return ""
    if abs(read - point) < ROUNDING_TOLERANCE:
        return "at its set point"
    return f"{in_brief(abs(read - point), unit, 2)} {'over' if read > point else 'under'} its set point"


def pressure_ladder(boiler_data: BoilerData) -> LadderPanel:
    """Return the judgement of the ladder as it is set now."""
    ladder_judgement = _judge_ladder(boiler_data)
    return LadderPanel(
        len(ladder_judgement.unknown) < len(RUNG_NAMES),
        ladder_judgement,
        tuple(RUNG_NAMES[u] for u in ladder_judgement.unknown),
    )


def cut_in_out(control: PlaceOccupant) -> tuple[float | None, float | None]:
    """Return cut-in and cut-out of a control in psi: as set, or one from the other and the differential."""
    low, high, differential = (control.number(key) for key in ("cut_in_psi", "cut_out_psi", "differential_psi"))
    with suppress(Refused):  # an impossible differential gives no second rung; the one on record is kept
        if low is None and high is not None and differential is not None:
            return ladder.cut_in(high, differential, "subtractive"), high
        if high is None and low is not None and differential is not None:
            return low, ladder.cut_out(low, differential, "additive")
    return low, high


def highest_cut_out_psi(boiler_data: BoilerData) -> float | None:
    """Return the pressure in psi that the operating controls let the boiler reach; None if none is on record."""
    cut_outs = [
        cut_in_out(boiler_data.occupant_at(p.id))[1] for p in boiler_data.positions_of_role("operating_control")
    ]
    return max((psi for psi in cut_outs if psi is not None), default=None)


def relief_margin(boiler_data: BoilerData, terms: AdoptedTerms) -> ReliefPanel:
    """Return the margin of all valves together, by the rule the portfolio adopted."""
    valves = [(p, boiler_data.occupant_at(p.id)) for p in boiler_data.positions_of_role(VALVE_ROLE)]
    stamps = tuple((p.name, v.number("capacity_lb_h")) for p, v in valves if v.device)
    by_surface = surface_counts(boiler_data.boiler_values, terms)
    rule = GREATER_OF_RULE if by_surface else OUTPUT_ONLY
    burners = [boiler_data.occupant_at(p.id) for p in boiler_data.positions_of_role("burner")]
    input_btu_h = sum_burner_inputs(burner.number("input_btu_h") for burner in burners if burner.device)
    output = as_number(with_known_output(boiler_data.boiler_values, input_btu_h).get("output_btu_h"))
    stands_in = explain_input_for_output(boiler_data.boiler_values, input_btu_h)
    rule_words = RULE_WORDS[rule] + (f"; {stands_in}" if stands_in else "")
    needed = {"the boiler's output or its burner's input": output, "a safety valve": stamps}
    needed |= {"the heating surface": boiler_data.boiler_number("heating_surface_ft2")} if by_surface else {}
    missing = [words for words, value in needed.items() if not value]
    if missing:
        return ReliefPanel(stamps, None, rule_words, " and ".join(missing))
    inputs = {"output_btu_h": output, "stamped_lb_h": [stamp for _, stamp in stamps], "rule": rule}
    surface_inputs = _surface_inputs(boiler_data) if by_surface else {}
    return ReliefPanel(stamps, run_calculation("relief_margin", **inputs, **surface_inputs), rule_words)


def _surface_inputs(boiler_data: BoilerData) -> dict[str, object]:
    """Return the heating surface and its row of the table; for an unknown build, the row with the highest demand."""
    build = tuple(str(boiler_data.boiler_values.get(key) or usual) for key, usual in USUAL_BUILD)
    firing, kind = build if build in SURFACE_LB_H_FT2 else tuple(usual for _, usual in USUAL_BUILD)
    return {"surface_ft2": boiler_data.boiler_number("heating_surface_ft2"), "firing": firing, "kind": kind}


def trip_panels(boiler_data: BoilerData) -> list[Panel]:
    """Return a panel for each control and valve with at least one trip reading."""
    places = boiler_data.positions_of_role(*SET_POINT_KEYS)
    return [panel for place in places if (panel := _trip_panel(boiler_data, place)) is not None]


def set_point_at(boiler_data: BoilerData, place: Position, measure: Measure) -> float | None:
    """Return what the device was set to, in psi, at the time of the reading; None if not on record."""
    occupant = boiler_data.occupant_at(place.id, measure.at)
    return (
        cut_in_out(occupant)[1]
        if place.role_id == "operating_control"
        else occupant.number(SET_POINT_KEYS[place.role_id])
    )


def _trip_panel(boiler_data: BoilerData, place: Position) -> Panel | None:
    read_trips = [(m, m.number(TRIP_READINGS[m.code])) for m in boiler_data.measures_of(TRIP_READINGS, place.id)]
    usable_trips = [(m, trip, set_point_at(boiler_data, place, m)) for m, trip in read_trips if trip is not None]
    if not usable_trips:
        return None
    rows = [
        to_row(m, (to_cell(trip, unit="psi"), to_cell(point, unit="psi"), to_cell(_distance_off(trip, point), 2)))
        for m, trip, point in usable_trips
    ]
    _, trip, point = usable_trips[-1]
    distance = describe_distance(trip, point, "psi") or "its set point was not on record"
    verb = "open" if place.role_id != "high_limit" else "trip"
    question = f"Does the {place.name} still {verb} where it is set?"
    answer = f"Newest: {in_brief(trip, 'psi')}, {distance}."
    plot = Plot(question, answer, "psi", ((0, "points"), (1, "line")), least=MIN_SPAN_PSI)
    trip_heading = "Tripped at" if verb == "trip" else "Opened at"
    columns = tuple(PanelColumn(name, "psi") for name in (trip_heading, "Set at", "Off by"))
    return Panel(
        f"trips-{place.id}",
        place.name,
        columns=columns,
        rows=newest_first(rows),
        plots=(plot,),
        calculations=TRIP_CALCULATIONS[place.role_id],
    )


def _distance_off(trip: float, point: float | None) -> float | None:
    return None if point is None else trip - point


def _judge_ladder(boiler_data: BoilerData) -> EngineeringJudgement:
    """Judge every control with every limit against the valve that opens first, as the rules do."""
    occupants_by_role = {
        role: [o for p in boiler_data.positions_of_role(role) if (o := boiler_data.occupant_at(p.id)).device]
        for role in SET_POINT_KEYS
    }
    valve = min((v for o in occupants_by_role[VALVE_ROLE] if (v := o.number("set_psi")) is not None), default=None)
    controls, limits = (occupants_by_role[role] or [PlaceOccupant()] for role in ("operating_control", "high_limit"))
    rungs = [(*cut_in_out(control), limit.number("set_psi"), valve) for control, limit in product(controls, limits)]
    rung_judgements = [_judge_or_explain(ladder.Ladder(*rung)) for rung in rungs]
    reasons = dict.fromkeys(reason for rung_judgement in rung_judgements for reason in rung_judgement.reasons)
    return judge_reasons(
        reasons, dict.fromkeys(name for rung_judgement in rung_judgements for name in rung_judgement.unknown)
    )


def _judge_or_explain(rungs: ladder.Ladder) -> EngineeringJudgement:
    """Return the judgement; for impossible set points, one that says why it is inconclusive."""
    try:
        return ladder.judge_ladder(rungs)
    except Refused as refused:
        sentence = f"A set point on record is not possible: {refused.faults[0].message.partition(': ')[2]}"
        return judge_reasons([EngineeringReason("impossible", "inconclusive", sentence)])
