"""The limits a phone holds a reading against at once, from the graders themselves. The server decides."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from fleet.engineering import burner_grades, trips
from fleet.rules.catalogue import ProcedureSpec

CUTOFF_PROCEDURES = ("slow_drain", "evaporation")


@dataclass(frozen=True, slots=True)
class ReadingLimit:
    """Good from `low` to `high`, failed beyond `failed_over` or below `failed_under`; None where there is none.

    All in the reading's own unit.
    """

    reading: str
    low: float | None = None
    high: float | None = None
    failed_over: float | None = None
    failed_under: float | None = None


@dataclass(frozen=True, slots=True)
class LadderValues:
    """The set points of one boiler in psig and its lowest safe line in inches; None where they are not on record."""

    limit_psi: float | None = None
    valve_psi: float | None = None
    lowest_line_in: float | None = None


def reading_limits(
    procedure: ProcedureSpec, set_points: Mapping[str, object], ladder: LadderValues
) -> Iterator[ReadingLimit]:
    """Yield the limits of a procedure's numbers at one place, whose device is set as `set_points` says."""
    if procedure.code == "limit_trip":
        grade = trips.grade_limit_trip(0.0, _number_of(set_points, "set_psi"), ladder.valve_psi)
        yield _limit_around("trip_psi", _number_of(set_points, "set_psi"), grade.near, failed_over=grade.bound)
        yield ReadingLimit("stayed_off_minutes", low=trips.STAY_OFF_MINUTES)
    elif procedure.code == "operating_control_trip":
        grade = trips.grade_control_trip(
            0.0, _number_of(set_points, "cut_out_psi"), _number_of(set_points, "differential_psi"), ladder.limit_psi
        )
        yield _limit_around("trip_psi", _number_of(set_points, "cut_out_psi"), grade.near, failed_over=grade.bound)
    elif procedure.code in CUTOFF_PROCEDURES:
        mark = _number_of(set_points, "trip_in")
        lowest = max(trips.GLASS_BOTTOM_IN, ladder.lowest_line_in or trips.GLASS_BOTTOM_IN)
        yield _limit_around("trip_in", mark, trips.CUTOFF_NEAR_IN, failed_under=lowest)
    elif procedure.code == "lever_lift":
        yield ReadingLimit("gauge_psi", low=trips.LEVER_PSI)
    elif procedure.code == "combustion_test":
        yield ReadingLimit("co_ppm", high=burner_grades.CO_ADJUST_PPM, failed_over=burner_grades.CO_HOLD_PPM)
        for reading in ("ambient_co_ppm", "ambient_co_again_ppm"):
            room = burner_grades.CO_ROOM_PPM
            yield ReadingLimit(reading, high=burner_grades.CO_ROOM_RAISED_PPM, failed_over=room)
    yield from _rule_limits(procedure, set_points)


def _rule_limits(procedure: ProcedureSpec, set_points: Mapping[str, object]) -> Iterator[ReadingLimit]:
    """Yield the limits that the catalogue's own rules give."""
    for name, spec in procedure.readings.items():
        rule = spec.rule
        if rule is None or spec.type != "number":
            continue
        value = _number_of(set_points, rule.key) if rule.key else rule.number
        if rule.op == "within":
            yield _limit_around(name, _number_of(set_points, rule.key), rule.number or 0.0)
        elif rule.op in ("<=", "<"):
            yield ReadingLimit(name, high=value)
        elif rule.op in (">=", ">"):
            yield ReadingLimit(name, low=value)


def _limit_around(
    reading: str,
    value: float | None,
    near: float,
    *,
    failed_over: float | None = None,
    failed_under: float | None = None,
) -> ReadingLimit:
    low, high = (value - near, value + near) if value is not None else (None, None)
    return ReadingLimit(reading, low, high, failed_over=failed_over, failed_under=failed_under)


def _number_of(values: Mapping[str, object], key: str) -> float | None:
    value = values.get(key)
    return float(value) if isinstance(value, (int, float)) and not isinstance(value, bool) else None
