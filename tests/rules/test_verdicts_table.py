"""The grader that reads the catalogue: each rule's least case that fires, and the nearest that does not."""

from collections.abc import Mapping
from uuid import UUID, uuid5

import pytest

from fleet.rules.catalogue import ProcedureSpec, ReadingSpec
from fleet.rules.ledger.records import GradingBench, PositionRecord, ReplayLedger
from fleet.rules.values import AdoptedTerms, EntryFact, LawInForce, PositionFact, Value, VisitFact
from fleet.rules.verdicts import findings_fired_by, grade_test
from fleet.rules.verdicts.graded import GradedTest
from fleet.rules.verdicts.reading_phrases import CLAUSES, VALUE_CLAUSES
from tests.rules.build import HERE, START, Boiler, catalogue

PLATE: Mapping[str, Value] = {"set_psi": 15.0, "flame_failure_s": 4.0, "input_btu_h": 1_000_000.0}


def procedure_of(code: str) -> ProcedureSpec:
    return catalogue().procedures[code]


def good_reading(spec: ReadingSpec) -> Value:
    """A reading that keeps its rule, at its very bound where it has one."""
    rule = spec.rule
    if spec.type == "bool":
        return rule is None or rule.words == ("yes",)
    if spec.type == "choice":
        return rule.words[0] if rule else spec.choices[0]
    if rule is None:
        return 0.0 if spec.low is not None and spec.low <= 0 else spec.low
    known = PLATE[rule.key] if rule.key else rule.number
    return float(known or 0.0)


def bad_reading(spec: ReadingSpec) -> Value:
    """The nearest reading that breaks its rule."""
    assert spec.rule is not None
    if spec.type == "bool":
        return spec.rule.words == ("no",)
    if spec.type == "choice":
        return next(c for c in spec.choices if c not in spec.rule.words)
    over = float(good_reading(spec) or 0.0) + (spec.rule.number or 0.0 if spec.rule.op == "within" else 0.0)
    return over - 0.01 if spec.rule.op == ">=" else over + 0.01


def on_bench(code: str, outcome: str = "pass", plate: Mapping[str, Value] = PLATE, **readings: Value) -> GradingBench:
    """One test with good readings, but for those given (None leaves one out), on a device of its kind alone."""
    procedure, known = procedure_of(code), catalogue()
    kind = min(procedure.kinds)
    role = next(r for r in known.roles.values() if kind in r.kinds)
    here = uuid5(HERE, code)
    record = PositionRecord(PositionFact(here, code, role.name.lower(), role.code), role, UUID(int=7), kind, START)
    record.attributes = plate
    told = {s.name: good_reading(s) for s in procedure.readings.values() if s.required} | readings
    taken = {name: value for name, value in told.items() if value is not None}
    entry = EntryFact(HERE, 0, "test", code, here, START, outcome=outcome, readings=taken)
    visit = VisitFact(HERE, "routine_check", START, START, (entry,), procedure.who)
    return GradingBench(
        visit,
        entry,
        procedure,
        record,
        ReplayLedger(Boiler().evidence(), LawInForce(None, AdoptedTerms(None, None), known), {here: record}),
    )


def worth(code: str, outcome: str = "pass", plate: Mapping[str, Value] = PLATE, **readings: Value) -> GradedTest:
    return grade_test(on_bench(code, outcome, plate, **readings))


def fired(graded: GradedTest) -> list[str]:
    return [rule for rule, _ in graded.faults]


TABLED = sorted(p.code for p in catalogue().procedures.values() if p.judged_by == "table")
JUDGED = [(p, s.name) for p in TABLED for s in procedure_of(p).readings.values() if s.rule]

# Written by hand, apart from the table: procedure, the least reading that fires, what it fires.
LEAST: list[tuple[str, dict[str, Value], str]] = [
    ("probe_clean_inspect", {"tip_sound": False}, "probe_scaled"),
    ("probe_clean_inspect", {"insulator_sound": False}, "probe_bridged"),
    ("gauge_glass_blowdown", {"water_returns": "slow"}, "glass_unreadable"),
    ("gauge_glass_inspect", {"readable": False}, "glass_unreadable"),
    ("gauge_glass_inspect", {"tight": False}, "equipment_failed"),
    ("try_cock_check", {"agrees_with_glass": False}, "glass_unreadable"),
    ("level_observation", {"line_visible": False}, "glass_unreadable"),
    ("feeder_check", {"feeds_when_low": False}, "low_not_feeding"),
    ("feeder_check", {"tight_when_off": False}, "feeder_failed"),
    ("feed_pump_check", {"stops": False}, "feeder_failed"),
    ("backflow_check", {"drips": True}, "equipment_failed"),
    ("leak_check", {"tight": False}, "boiler_leaks"),
    ("leak_check", {"furnace_dry": False}, "boiler_leaks_into_furnace"),
    ("internal_inspection", {"cracks_found": True}, "boiler_leaks"),
    ("three_cycles", {"cut_out_seen": False}, "operating_control_failed"),
    ("pop_test", {"opens_psi": 17.1}, "set_pressure_off"),
    ("pop_test", {"opens_psi": 12.9}, "set_pressure_off"),
    ("pop_test", {"after_pop": "weeps"}, "valve_drips"),
    ("pop_test", {"seal_intact": False}, "valve_wrong"),
    ("valve_shop_test", {"opens_psi": 17.1}, "set_pressure_off"),
    ("accumulation_test", {"highest_psi": 20.1}, "capacity_short"),
    ("discharge_pipe_check", {"open_end_clear": False}, "valve_blocked"),
    ("gauge_zero_check", {"at_zero": False}, "gauge_off"),
    ("gauge_comparison", {"difference_psi": 1.1}, "gauge_off"),
    ("flame_failure_test", {"seconds_to_shut": 4.1}, "flame_failure_slow"),
    ("flame_failure_test", {"fuel_shut": False}, "flame_failure_slow"),
    ("flame_failure_test", {"locked_out": False}, "flame_no_lockout"),
    ("pilot_turndown", {"main_lit_by_least_pilot": False}, "test_failed"),
    ("flame_signal", {"steady": False}, "equipment_failed"),
    ("fuel_valve_closure", {"closed": False}, "output_path_failed"),
    ("fuel_valve_leak_test", {"within_makers_limit": False}, "fuel_valve_leaks"),
    ("limit_circuit_trip", {"burner_stopped": False}, "output_path_failed"),
    ("gas_pressure_low_trip", {"burner_stopped": False}, "interlock_failed"),
    ("gas_pressure_high_trip", {"burner_stopped": False}, "interlock_failed"),
    ("oil_pressure_low_trip", {"burner_stopped": False}, "interlock_failed"),
    ("oil_temperature_trip", {"burner_stopped": False}, "interlock_failed"),
    ("atomizing_medium_trip", {"burner_stopped": False}, "interlock_failed"),
    ("low_draft_trip", {"burner_stopped": False}, "interlock_failed"),
    ("air_proving_trip", {"burner_stopped": False}, "interlock_failed"),
    ("louvre_interlock_trip", {"burner_held_off": False}, "interlock_failed"),
    ("spill_switch_trip", {"burner_stopped": False}, "interlock_failed"),
    ("rollout_switch_trip", {"burner_stopped": False}, "interlock_failed"),
    ("barometric_damper_check", {"swings_freely": False}, "draft_failed"),
    ("barometric_damper_check", {"spills": True}, "flue_gas_spills"),
    ("draft_reading", {"draws": False}, "no_draft"),
    ("combustion_air_check", {"open": False}, "combustion_air_blocked"),
    ("vent_inspection", {"clear": False}, "vent_blocked"),
    ("vent_inspection", {"connected": False}, "vent_blocked"),
    ("vent_inspection", {"sound": False}, "vent_loose"),
    ("vent_inspection", {"spills_after_five_minutes": True}, "flue_gas_spills"),
    ("normal_restart", {"lit_smoothly": False}, "light_off_bang"),
    ("normal_restart", {"puff_flame_soot_or_smell": True}, "rough_light_off"),
    ("soap_test", {"bubbles": True}, "fuel_piping_leaks"),
    ("soap_test", {"smell": True}, "people_in_danger"),
    ("co_alarm_test", {"sounds": False}, "alarm_failed"),
    ("co_alarm_test", {"in_date": False}, "alarm_out_of_date"),
    ("emergency_switch_test", {"burner_stopped": False}, "alarm_failed"),
    ("manual_cock_check", {"shuts_fuel": False}, "equipment_failed"),
    ("wiring_inspection", {"jumpers_found": True}, "jumper_found"),
    ("season_restart_check", {"line_in_glass": False}, "equipment_failed"),
    ("steaming_check", {"line_surges": True}, "water_surging"),
    ("steaming_check", {"water_carried_over": True}, "water_carried_over"),
    ("steaming_check", {"hammer": True}, "water_hammer"),
    ("steaming_check", {"heat_arrives": False}, "steam_without_heat"),
    ("boiler_room_check", {"water_on_floor": True}, "room_flooded"),
]
NEAREST: list[tuple[str, dict[str, Value]]] = [
    ("pop_test", {"opens_psi": 17.0}),
    ("pop_test", {"opens_psi": 13.0}),
    ("accumulation_test", {"highest_psi": 20.0}),
    ("gauge_comparison", {"difference_psi": 1.0}),
    ("flame_failure_test", {"seconds_to_shut": 4.0}),
    ("three_cycles", {"cycles": 3.0}),
]


@pytest.mark.parametrize(("code", "readings", "rule"), LEAST)
def test_the_least_case_fails_and_fires_its_rule_alone(code: str, readings: dict[str, Value], rule: str) -> None:
    graded = worth(code, **readings)
    assert (graded.outcome, fired(graded)) == ("fail", [rule])


@pytest.mark.parametrize(("code", "readings"), NEAREST)
def test_the_nearest_case_passes(code: str, readings: dict[str, Value]) -> None:
    graded = worth(code, **readings)
    assert (graded.outcome, graded.faults) == ("pass", ())


def test_every_finding_the_table_names_has_a_case_here() -> None:
    named = {
        s.finding or procedure_of(p).fails_as or "test_failed" for p, n in JUDGED for s in [_spec(p, n)] if _fails(s)
    }
    assert {rule for _, _, rule in LEAST} == named


def _spec(code: str, name: str) -> ReadingSpec:
    return procedure_of(code).readings[name]


def _fails(spec: ReadingSpec) -> bool:
    return spec.otherwise == "fail"


@pytest.mark.parametrize("code", TABLED)
def test_good_readings_at_their_bounds_pass(code: str) -> None:
    every = {s.name: good_reading(s) for s in procedure_of(code).readings.values()}
    assert worth(code, **every).outcome == "pass"


@pytest.mark.parametrize(("code", "name"), JUDGED)
def test_every_rule_can_be_broken_and_says_what_it_says(code: str, name: str) -> None:
    spec = _spec(code, name)
    graded = worth(code, **{name: bad_reading(spec)})
    assert graded.outcome == spec.otherwise
    assert fired(graded) == ([spec.finding or procedure_of(code).fails_as or "test_failed"] if _fails(spec) else [])
    clause = CLAUSES.get(name) or VALUE_CLAUSES[name].partition("{")[0]
    assert clause in graded.sentence


@pytest.mark.parametrize("code", TABLED)
def test_a_bare_claim_of_failure_has_the_class_of_its_procedure(code: str) -> None:
    blank = dict.fromkeys(procedure_of(code).readings)
    graded = worth(code, "fail", **blank)
    assert (graded.outcome, fired(graded)) == ("fail", [procedure_of(code).fails_as or "test_failed"])


@pytest.mark.parametrize("code", TABLED)
def test_a_pass_without_a_required_reading_proves_nothing(code: str) -> None:
    name = next(s.name for s in procedure_of(code).readings.values() if s.required)
    graded = worth(code, **{name: None})
    assert (graded.outcome, graded.proves) == ("inconclusive", "")


@pytest.mark.parametrize(("code", "proves"), [("flame_failure_test", "full"), ("gauge_glass_blowdown", "partial")])
def test_a_pass_proves_what_its_procedure_proves(code: str, proves: str) -> None:
    assert worth(code).proves == proves


@pytest.mark.parametrize(("code", "proves"), [("pop_test", "due_only"), ("valve_shop_test", "full")])
def test_the_shop_stands_for_the_pop_test_without_being_asked_for(code: str, proves: str) -> None:
    assert worth(code).proves == proves


def test_an_inspection_that_is_no_proof_proves_nothing() -> None:
    assert worth("meter_reading").proves == ""


@pytest.mark.parametrize("code", ["flame_failure_test", "pop_test", "valve_shop_test"])
def test_without_its_plate_nothing_is_compared_and_the_reason_is_told(code: str) -> None:
    graded = worth(code, plate={})
    assert graded.outcome == "inconclusive"
    assert graded.proves == ""
    assert graded.faults == ()
    assert "not recorded" in graded.sentence


def test_a_fault_that_needs_no_plate_counts_without_it() -> None:
    assert fired(worth("flame_failure_test", plate={}, fuel_shut=False)) == ["flame_failure_slow"]


def test_a_trip_that_was_never_asked_for_accuses_nobody() -> None:
    graded = worth("limit_circuit_trip", burner_firing=False, burner_stopped=False)
    assert (graded.outcome, graded.faults) == ("not_a_test", ())


def test_two_readings_of_one_rule_are_one_finding() -> None:
    assert fired(worth("limit_circuit_trip", burner_stopped=False, fuel_shut=False)) == ["output_path_failed"]


def test_the_verdict_shows_the_limit_and_what_it_was_compared_with() -> None:
    graded = worth("flame_failure_test")
    assert graded.set_value == 4.0
    assert "plate" in graded.limit


def test_a_setting_that_was_changed_later_goes_before_the_plate() -> None:
    bench = on_bench("pop_test", opens_psi=13.0)
    bench.record.settings["set_psi"] = 10.0
    assert grade_test(bench).outcome == "fail"


@pytest.mark.parametrize("code", sorted(catalogue().procedures))
def test_what_a_procedure_fires_has_a_row(code: str) -> None:
    assert findings_fired_by(procedure_of(code)) <= catalogue().findings.keys()


def test_a_pass_by_the_table_is_good_and_says_on_what() -> None:
    graded = worth("flame_failure_test")
    name = on_bench("flame_failure_test").name
    assert (graded.grade, graded.sentence) == (
        "good",
        f"{procedure_of('flame_failure_test').name} on the {name} passed.",
    )
