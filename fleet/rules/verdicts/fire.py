"""Graders of the fire side that need more than their row: the combustion test, and the input that was clocked."""

from collections.abc import Callable

from fleet.engineering.combustion import CO_ADJUST_PPM, CO_HOLD_PPM, CO_ROOM_PPM, MAX_O2_PERCENT, co_air_free_ppm
from fleet.engineering.firing import gas_input_btu_h, judge_input, nozzle_gph, oil_input_btu_h
from fleet.rules.finding_codes import FindingCode
from fleet.rules.ledger.records import GradingBench
from fleet.rules.verdicts.graded import GradedTest, failed_test
from fleet.rules.vocabulary import Outcome

LIMIT = f"CO air-free under {CO_ADJUST_PPM:g} ppm and steady; in the room at most {CO_ROOM_PPM:g} ppm"


def grade_combustion(bench: GradingBench) -> GradedTest:
    """Grade flue and room. The flue may give no result; carbon monoxide in the room always counts."""
    flue, position = _grade_flue(bench), bench.record.position.id
    room = bench.number_reading("ambient_co_ppm")
    if room is None or room <= CO_ROOM_PPM:
        return flue
    sentence = f"{room:g} ppm of carbon monoxide in the room: people are in danger. {flue.sentence}"
    return failed_test(sentence, (FindingCode.AMBIENT_CO, position), *flue.faults, limit=LIMIT)


def _grade_flue(bench: GradingBench) -> GradedTest:
    if bench.yes_or_no_reading("burner_firing") is False:
        return GradedTest(Outcome.NOT_A_TEST, f"The burner was off: nothing about the {bench.name} was proven.")
    oxygen, measured, trend = (
        bench.number_reading("o2_pct"),
        bench.number_reading("co_ppm"),
        bench.choice_reading("co_trend"),
    )
    position = bench.record.position.id
    if trend in ("unstable", "rising"):
        return failed_test(f"Carbon monoxide in the flue is {trend}.", (FindingCode.CO_HIGH, position), limit=LIMIT)
    if measured is not None and measured >= CO_HOLD_PPM and oxygen is not None and oxygen > MAX_O2_PERCENT:
        # Mostly air, and even so too much: without the air it is more.
        sentence = f"{measured:g} ppm of carbon monoxide in a diluted sample."
        return failed_test(sentence, (FindingCode.CO_HIGH, position), limit=LIMIT)
    if oxygen is not None and oxygen > MAX_O2_PERCENT:
        sentence = f"With {oxygen:g} % oxygen the sample is mostly air: the combustion test has no result."
        return GradedTest(Outcome.INCONCLUSIVE, sentence, limit=f"oxygen at most {MAX_O2_PERCENT:g} %")
    if oxygen is None or measured is None:
        return GradedTest(
            Outcome.INCONCLUSIVE, "Carbon monoxide and oxygen of the flue were not both read.", limit=LIMIT
        )
    return _graded_by_co(bench, float(co_air_free_ppm(measured, oxygen)))


def _graded_by_co(bench: GradingBench, air_free_ppm: float) -> GradedTest:
    co_sentence = f"Carbon monoxide in the flue is {air_free_ppm:.0f} ppm air-free"
    if air_free_ppm >= CO_HOLD_PPM:
        return failed_test(f"{co_sentence}: unsafe.", (FindingCode.CO_HIGH, bench.record.position.id), limit=LIMIT)
    drifted = air_free_ppm >= CO_ADJUST_PPM
    faults = ((FindingCode.CO_ADJUST, bench.record.position.id),) if drifted else ()
    grade, proves = "drifted" if drifted else "good", bench.procedure.proof
    sentence = f"{co_sentence}{': adjust the burner' if drifted else ''}."
    return GradedTest(Outcome.PASS, sentence, grade=grade, proves=proves, limit=LIMIT, faults=faults)


PLATE = "within 5 % of its plate; over 10 % above it over-fired"


def grade_input(bench: GradingBench) -> GradedTest:
    """Grade the input of the burner, worked out from what was read or else as written down, against its plate."""
    plate, worked_out = bench.record.numeric_setting("input_btu_h"), worked_out_btu_h(bench.number_reading)
    value = worked_out or bench.number_reading("input_btu_h")
    if not value:
        sentence = (
            f"The input of the {bench.name} was neither clocked nor written down: dial, seconds and heating value."
        )
        return GradedTest(Outcome.INCONCLUSIVE, sentence, limit=PLATE, set_value=plate)
    if not plate:
        sentence = (
            f"{bench.procedure.name} on the {bench.name} proves nothing: its input is not recorded to compare with."
        )
        return GradedTest(Outcome.INCONCLUSIVE, sentence, limit=PLATE)
    return _graded_by_input(bench, value, plate)


def _graded_by_input(bench: GradingBench, value: float, plate: float) -> GradedTest:
    input_verdict, position = judge_input(value, plate), bench.record.position.id
    input_text = f"The {bench.name} fires {value:,.0f} Btu/h, {value / plate:.0%} of its plate"
    if input_verdict.verdict == "urgent":
        return failed_test(
            f"{input_text}: over-fired.", (FindingCode.OVER_FIRED, position), limit=PLATE, set_value=plate
        )
    drifted = input_verdict.verdict != "good"
    sentence = f"{input_text}{': adjust it' if drifted else ''}."
    return GradedTest(
        Outcome.PASS,
        sentence,
        grade="drifted" if drifted else "good",
        proves=bench.procedure.proof,
        limit=PLATE,
        set_value=plate,
    )


def worked_out_btu_h(number: Callable[[str], float | None]) -> float | None:
    """Return the gross input in Btu/h from a gas meter's dial and time, else from nozzle and pump. Else None."""
    dial, seconds, gas = (number(n) for n in ("dial_ft3", "seconds", "gross_btu_ft3"))
    if dial and seconds and gas:
        return float(gas_input_btu_h(dial, seconds, gas))
    nozzle, pump, oil = (number(n) for n in ("nozzle_gph", "pump_psi", "gross_btu_gal"))
    return float(oil_input_btu_h(nozzle_gph(nozzle, pump), oil)) if nozzle and pump and oil else None
