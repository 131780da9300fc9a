"""Rules and calculator ask one set of graders: for the same case they say the same."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.engineering.calculations import run_calculation
from fleet.engineering.units import convert
from fleet.rules.findings.data import wrong_by_data
from fleet.rules.ledger.records import GradingBench, PositionRecord
from fleet.rules.values import PositionFact, Value
from fleet.rules.verdicts import GRADERS
from tests.rules.build import START, Boiler, catalogue, ident
from tests.rules.test_verdicts_table import on_bench

PSI = st.integers(0, 400).map(lambda tenth: tenth / 10)
HEIGHT = st.integers(-20, 120).map(lambda tenth: tenth / 10)
MAYBE_PSI, MAYBE_HEIGHT = st.none() | PSI, st.none() | HEIGHT
GOOD_LIMIT = {"stayed_off_minutes": 4.0, "call_on": True, "restarted_by_hand": True, "psi_when_checked": 0.0}


def graded_by_rules(code: str, bench: GradingBench) -> str:
    """The grade that the rules give a test, asked of its grader alone."""
    return GRADERS[catalogue().procedures[code].judged_by](bench).grade


def bench_of(code: str, ref: str, plate: dict[str, Value | None], **readings: Value) -> GradingBench:
    """A test on its own place, with what is stamped on it; None is not stamped."""
    bench = on_bench(code, plate={k: v for k, v in plate.items() if v is not None}, **readings)
    role = catalogue().roles[ref]
    bench.record.role, bench.record.kind = role, min(role.kinds)
    bench.ledger.records[bench.record.position.id] = bench.record
    return bench


def put_beside(bench: GradingBench, role: str, **settings: Value | None) -> PositionRecord:
    """Another place of the boiler, with its set points or its last trip height."""
    spec = catalogue().roles[role]
    record = PositionRecord(PositionFact(ident(role), role, spec.name.lower(), role), spec, ident(f"{role} device"))
    record.fitted_at, record.kind = START, min(spec.kinds)
    record.settings = {key: value for key, value in settings.items() if value is not None}
    bench.ledger.records[record.position.id] = record
    return record


def calculated(code: str, **inputs: Any) -> dict[str, Any]:
    """The calculator's outputs; what is None is left out."""
    return run_calculation(code, {name: value for name, value in inputs.items() if value is not None}).outputs


@given(PSI, PSI, st.integers(0, 80).map(lambda tenth: tenth / 10), MAYBE_PSI)
def test_an_operating_control(trip: float, set_psi: float, differential: float, limit: float | None) -> None:
    plate: dict[str, Value | None] = {"cut_out_psi": set_psi, "differential_psi": differential}
    bench = bench_of("operating_control_trip", "operating_control", plate, trip_psi=trip)
    put_beside(bench, "high_limit", set_psi=limit)
    found = calculated("control_trip", trip_psi=trip, set_psi=set_psi, differential_psi=differential, limit_psi=limit)
    assert graded_by_rules("operating_control_trip", bench) == found["grade"]


@given(PSI, PSI, MAYBE_PSI)
def test_a_high_limit(trip: float, set_psi: float, valve: float | None) -> None:
    readings = {**GOOD_LIMIT, "set_psi_read_back": set_psi, "trip_psi": trip}
    bench = bench_of("limit_trip", "high_limit", {"set_psi": set_psi}, **readings)
    put_beside(bench, "safety_valve", set_psi=valve)
    found = calculated("limit_trip", trip_psi=trip, set_psi=set_psi, valve_psi=valve)
    assert graded_by_rules("limit_trip", bench) == found["grade"]


@given(HEIGHT, MAYBE_HEIGHT, MAYBE_HEIGHT, MAYBE_HEIGHT, st.booleans())
def test_a_cutoff(
    trip: float, reference: float | None, lowest: float | None, other: float | None, is_lower: bool
) -> None:
    roles = ("lower_cutoff", "upper_cutoff") if is_lower else ("upper_cutoff", "lower_cutoff")
    readings = {"burner_firing": True, "burner_stopped": True, "locked_out": True, "trip_in": trip}
    bench = bench_of("slow_drain", roles[0], {"trip_in": reference}, **readings)
    put_beside(bench, roles[1]).last_trip_in = other
    if lowest is not None:
        bench.ledger.boiler["lowest_safe_line_in"] = lowest
    beside = {"over_in" if is_lower else "under_in": other}
    found = calculated("cutoff_trip", trip_in=trip, reference_in=reference, lowest_in=lowest, **beside)
    assert graded_by_rules("slow_drain", bench) == found["grade"]


@given(MAYBE_PSI, MAYBE_PSI, MAYBE_PSI, MAYBE_PSI)
def test_a_ladder(cut_in: float | None, cut_out: float | None, limit: float | None, valve: float | None) -> None:
    boiler = Boiler().bench("limit_trip")
    for ref, settings in (
        ("control", {"cut_in_psi": cut_in, "cut_out_psi": cut_out}),
        ("limit", {"set_psi": limit}),
        ("valve", {"set_psi": valve}),
    ):
        record = boiler.ledger.records[ident(ref)]
        record.attributes, record.settings = {}, {k: v for k, v in settings.items() if v is not None}
    of_rules = {fault.sentence for fault in wrong_by_data(boiler.ledger) if fault.rule.startswith("ladder_")}
    found = calculated("ladder", cut_in_psi=cut_in, cut_out_psi=cut_out, limit_psi=limit, valve_psi=valve)
    assert set(found["reasons"]) == of_rules


@given(
    st.integers(0, 6000).map(lambda tenth: tenth / 10),
    st.integers(0, 208).map(lambda tenth: tenth / 10),
    st.sampled_from(["steady", "rising", "unstable"]),
)
def test_carbon_monoxide_in_the_flue(ppm: float, oxygen: float, trend: str) -> None:
    readings: dict[str, Value] = {"co_ppm": ppm, "o2_pct": oxygen, "co_trend": trend, "ambient_co_ppm": 0.0}
    bench = on_bench("combustion_test", stack_f=400.0, room_f=70.0, **readings)
    steadiness = "steady" if trend == "steady" else "rising or unsteady"
    found = calculated("co_verdict", co_ppm=ppm, o2_percent=oxygen, steadiness=steadiness)
    grades = {"good": "good", "urgent": "drifted", "hold": "failed", "inconclusive": ""}
    assert graded_by_rules("combustion_test", bench) == grades[found["verdict"]]


TENTH_PPM = st.integers(0, 400).map(lambda tenth: tenth / 10)


@given(TENTH_PPM, TENTH_PPM, st.none() | TENTH_PPM, st.booleans())
def test_carbon_monoxide_in_the_room(ppm: float, outdoors: float, again: float | None, firing: bool) -> None:
    names = ("ambient_co_ppm", "outdoor_co_ppm", "ambient_co_again_ppm")
    readings = {name: value for name, value in zip(names, (ppm, outdoors, again), strict=True) if value is not None}
    flue: dict[str, Value] = {"co_ppm": 10.0, "o2_pct": 5.0, "co_trend": "steady", "burner_firing": firing}
    graded = GRADERS["combustion"](on_bench("combustion_test", **flue, **readings))
    burner = "firing" if firing else "off"
    found = calculated("co_in_room", co_ppm=ppm, outdoors_ppm=outdoors, again_ppm=again, burner=burner)
    rules = {rule for rule, _ in graded.faults}
    of_rules = "hold" if "ambient_co" in rules else "urgent" if "ambient_co_raised" in rules else "neither"
    assert of_rules == (found["verdict"] if found["verdict"] in ("hold", "urgent") else "neither")
    assert bool(graded.question) == (found["verdict"] == "inconclusive")
    assert found["verdict"] != "inconclusive" or graded.outcome == "inconclusive"


@given(st.integers(100_000, 2_000_000).map(float), st.integers(100_000, 2_000_000).map(float))
def test_an_input_against_its_plate(input_btu_h: float, plate: float) -> None:
    bench = on_bench("clock_input", plate={"input_btu_h": plate}, input_btu_h=input_btu_h)
    found = calculated(
        "gas_input",
        dial_ft3=1,
        seconds=3600,
        gross_btu_ft3=1000,
        meter_factor=1,
        plate_btu_h=plate * 1000 / input_btu_h,
    )
    grades = {"good": "good", "routine": "drifted", "urgent": "failed"}
    assert graded_by_rules("clock_input", bench) == grades[found["verdict"]]


@pytest.mark.parametrize(("smoke", "stack"), [(2.0, 700.0), (2.1, 700.0), (2.0, 700.1), (9.0, 1300.0), (0.0, 300.0)])
@pytest.mark.parametrize("makers", [{}, {"max_smoke": 1.0, "max_stack_f": 450.0}])
def test_smoke_and_stack(smoke: float, stack: float, makers: dict[str, float]) -> None:
    readings: dict[str, Value] = {"co_ppm": 10.0, "o2_pct": 5.0, "co_trend": "steady", "ambient_co_ppm": 0.0}
    bench = on_bench("combustion_test", plate=makers, smoke_number=smoke, stack_f=stack, **readings)
    graded = GRADERS["combustion"](bench)
    found = (
        calculated("smoke", smoke_number=smoke, most=makers.get("max_smoke")),
        calculated("stack_limit", stack_f=stack, most_f=makers.get("max_stack_f")),
    )
    is_off = any(answer["verdict"] != "good" for answer in found)
    assert (graded.grade, [rule for rule, _ in graded.faults]) == (
        ("drifted", ["burner_adjust"]) if is_off else ("good", [])
    )


BOUNDS = [  # trip, set point, valve: where binary rounding or another unit could flip a grade
    (psi / 10, psi / 10 + apart, valve)
    for psi in range(20, 130, 7)
    for apart in (-1.0, 1.0)
    for valve in (None, 15.0, psi / 10 + 2)
]


@pytest.mark.parametrize(("trip", "set_psi", "valve"), BOUNDS)
def test_a_bound_typed_in_kilopascal_is_the_same_bound_for_both(
    trip: float, set_psi: float, valve: float | None
) -> None:
    typed = convert(convert(trip, "psi", "kPa"), "kPa", "psi")
    bench = bench_of(
        "limit_trip", "high_limit", {"set_psi": set_psi}, **GOOD_LIMIT, set_psi_read_back=set_psi, trip_psi=typed
    )
    put_beside(bench, "safety_valve", set_psi=valve)
    found = calculated("limit_trip", trip_psi=typed, set_psi=set_psi, valve_psi=valve)
    assert (found["grade"], graded_by_rules("limit_trip", bench)) == ("good", "good")
