"""Graders of the fire side that need more than their row: the combustion test, and the input that was clocked."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from uuid import UUID

from fleet.engineering.burner_grades import (
    CO_ADJUST_PPM,
    CO_ROOM_PPM,
    MAX_O2_PERCENT,
    air_free_ppm,
    air_free_text,
    grade_flue_co,
    grade_room_co,
    grade_smoke,
    grade_stack,
    is_diluted,
)
from fleet.engineering.burner_grades import grade_input as grade_input_of_plate
from fleet.engineering.firing import gas_input_btu_h, nozzle_gph, oil_input_btu_h
from fleet.engineering.verdicts import EngineeringJudgement
from fleet.rules.finding_codes import FindingCode
from fleet.rules.ledger.records import GradingBench
from fleet.rules.verdicts.graded import GradedTest, failed_test
from fleet.rules.vocabulary import Outcome

LIMIT = f"CO air-free under {CO_ADJUST_PPM:g} ppm and steady; in the room at most {CO_ROOM_PPM:g} ppm"


def grade_combustion(bench: GradingBench) -> GradedTest:
    """Grade flue, burner and room. The flue may give no result; carbon monoxide in the room always counts."""
    flue, position = _with_burner(bench, _grade_flue(bench)), bench.record.position.id
    room = _judge_room(bench)
    if room is None or room.verdict == "good":
        return flue
    if room.verdict == "hold":
        readings = (bench.number_reading("ambient_co_ppm"), bench.number_reading("ambient_co_again_ppm"))
        highest = max(ppm for ppm in readings if ppm is not None)
        sentence = f"{highest:g} ppm of carbon monoxide in the room: people are in danger. {flue.sentence}"
        failed = failed_test(sentence, (FindingCode.AMBIENT_CO, position), *flue.faults, limit=LIMIT)
        return replace(failed, reading="ambient_co_ppm")
    if room.verdict == "urgent":
        faults = ((FindingCode.AMBIENT_CO_RAISED, position), *flue.faults)
        return replace(flue, sentence=f"{room.sentences[0]} {flue.sentence}", faults=faults)
    if flue.outcome == Outcome.FAIL:
        return replace(flue, question=room.sentences[0])
    # One raised reading proves nothing, and neither does the test that read it.
    sentence = f"{flue.sentence} Before the room is read again the test proves nothing."
    unsettled = replace(flue, outcome=Outcome.INCONCLUSIVE, grade="", proves="", sentence=sentence, limit=LIMIT)
    return replace(unsettled, question=room.sentences[0])


def _judge_room(bench: GradingBench) -> EngineeringJudgement | None:
    """Return the judgement of the room's air; None where it was not read."""
    names = ("ambient_co_ppm", "ambient_co_again_ppm", "outdoor_co_ppm")
    first, again, outdoors = (bench.number_reading(name) for name in names)
    first = again if first is None else first
    if first is None:
        return None
    firing = bench.yes_or_no_reading("burner_firing") is not False
    return grade_room_co(first, outdoors or 0.0, again_ppm=again, firing=firing)


def _grade_flue(bench: GradingBench) -> GradedTest:
    if bench.yes_or_no_reading("burner_firing") is False:
        return GradedTest(Outcome.NOT_A_TEST, f"The burner was off: nothing about the {bench.name} was proven.")
    measured, oxygen = bench.number_reading("co_ppm"), bench.number_reading("o2_pct")
    is_steady = bench.choice_reading("co_trend") not in ("unstable", "rising")
    flue, position = grade_flue_co(measured, oxygen, is_steady), bench.record.position.id
    sentence = _flue_sentence(bench, flue)
    if flue.verdict == "hold":
        return failed_test(sentence, (FindingCode.CO_HIGH, position), limit=LIMIT)
    if flue.verdict == "inconclusive":
        is_mostly_air = oxygen is not None and is_diluted(oxygen)
        limit = f"oxygen at most {MAX_O2_PERCENT:g} %" if is_mostly_air else LIMIT
        return GradedTest(Outcome.INCONCLUSIVE, sentence, limit=limit)
    drifted = flue.verdict != "good"
    faults = ((FindingCode.CO_ADJUST, position),) if drifted else ()
    grade = "drifted" if drifted else "good"
    return GradedTest(Outcome.PASS, sentence, grade=grade, proves=bench.procedure.proof, limit=LIMIT, faults=faults)


def _flue_sentence(bench: GradingBench, flue: EngineeringJudgement) -> str:
    """Return what the flue's readings came to, in the words of a test."""
    measured, oxygen = bench.number_reading("co_ppm") or 0.0, bench.number_reading("o2_pct")
    code = flue.reasons[0].code if flue.reasons else ""
    sentences = {
        "co_unsteady": f"Carbon monoxide in the flue is {bench.choice_reading('co_trend')}.",
        "co_no_result": f"With {oxygen or 0.0:g} % oxygen the sample is mostly air: the combustion test has no result.",
        "co_not_read": "Carbon monoxide and oxygen of the flue were not both read.",
    }
    if code in sentences:
        return sentences[code]
    if oxygen is None or is_diluted(oxygen):
        sample = "a sample whose oxygen was not read" if oxygen is None else "a diluted sample"
        return f"{measured:g} ppm of carbon monoxide in {sample}."
    advice = {"co_high": ": unsafe", "co_adjust": ": adjust the burner"}.get(code, "")
    return f"Carbon monoxide in the flue is {air_free_text(air_free_ppm(measured, oxygen))} ppm air-free{advice}."


def _with_burner(bench: GradingBench, flue: GradedTest) -> GradedTest:
    """Return the graded flue with what smoke and stack ask for: to be adjusted, and still a test."""
    asked = list(_burner_sentences(bench))
    if not asked or flue.outcome == Outcome.NOT_A_TEST:
        return flue
    faults: tuple[tuple[str, UUID], ...] = (*flue.faults, (FindingCode.BURNER_ADJUST, bench.record.position.id))
    grade = "drifted" if flue.grade == "good" else flue.grade
    return replace(flue, sentence=" ".join((flue.sentence, *asked)), grade=grade, faults=faults)


def _burner_sentences(bench: GradingBench) -> Iterator[str]:
    """Yield what smoke and stack temperature ask for, by the limits of burner and boiler on record."""
    smoke, stack = bench.number_reading("smoke_number"), bench.number_reading("stack_f")
    if smoke is not None:
        yield from grade_smoke(smoke, bench.record.numeric_setting("max_smoke")).sentences
    if stack is not None:
        yield from grade_stack(stack, bench.record.numeric_setting("max_stack_f")).sentences


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
    is_assumed, position = is_factor_assumed(bench.number_reading), bench.record.position.id
    input_verdict = grade_input_of_plate(value, plate, is_assumed=is_assumed)
    input_text = f"The {bench.name} fires {value:,.0f} Btu/h, {value / plate:.0%} of its plate"
    if is_assumed:
        input_text += " if the meter needs no factor of pressure and temperature"
    if input_verdict.verdict == "urgent":
        return failed_test(
            f"{input_text}: over-fired.", (FindingCode.OVER_FIRED, position), limit=PLATE, set_value=plate
        )
    if input_verdict.verdict == "inconclusive":
        sentence = f"{input_text}: find that out before anybody adjusts the burner."
        return GradedTest(Outcome.INCONCLUSIVE, sentence, limit=PLATE, set_value=plate)
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


CLOCKED = ("dial_ft3", "seconds", "gross_btu_ft3")  # what an input is worked out from at a gas meter


def _is_clocked(number: Callable[[str], float | None]) -> bool:
    return all(number(name) for name in CLOCKED)


def is_factor_assumed(number: Callable[[str], float | None]) -> bool:
    """Return whether the input was worked out at a gas meter whose factor of pressure and temperature nobody read."""
    return _is_clocked(number) and not number("meter_factor")


def worked_out_btu_h(number: Callable[[str], float | None]) -> float | None:
    """Return the gross input in Btu/h from a gas meter's dial and time, else from nozzle and pump. Else None.

    The meter's factor of pressure and temperature is 1 where it was not written down.
    """
    if _is_clocked(number):
        dial, seconds, gas = (number(name) or 0.0 for name in CLOCKED)
        return float(gas_input_btu_h(dial, seconds, gas, number("meter_factor") or 1.0))
    nozzle, pump, oil = (number(n) for n in ("nozzle_gph", "pump_psi", "gross_btu_gal"))
    return float(oil_input_btu_h(nozzle_gph(nozzle, pump), oil)) if nozzle and pump and oil else None
