"""Graders of the fire side that need more than their row: the combustion test, and the input that was clocked."""

from collections.abc import Callable

from fleet.engineering.combustion import CO_ADJUST_PPM, CO_HOLD_PPM, CO_ROOM_PPM, MOST_O2, co_air_free_ppm
from fleet.engineering.firing import gas_input_btu_h, judge_input, nozzle_gph, oil_input_btu_h
from fleet.rules.finding_codes import FindingCode
from fleet.rules.ledger import Bench
from fleet.rules.verdicts.graded import Graded, failed
from fleet.rules.vocabulary import Outcome

LIMIT = f"CO air-free under {CO_ADJUST_PPM:g} ppm and steady; in the room at most {CO_ROOM_PPM:g} ppm"


def combustion(bench: Bench) -> Graded:
    """Flue and room: what the flue says may be no result, what the room says always counts."""
    flue, here = _flue(bench), bench.record.position.id
    room = bench.number("ambient_co_ppm")
    if room is None or room <= CO_ROOM_PPM:
        return flue
    sentence = f"{room:g} ppm of carbon monoxide in the room: people are in danger. {flue.sentence}"
    return failed(sentence, (FindingCode.AMBIENT_CO, here), *flue.faults, limit=LIMIT)


def _flue(bench: Bench) -> Graded:
    if bench.flag("burner_firing") is False:
        return Graded(Outcome.NOT_A_TEST, f"The burner was off: nothing about the {bench.name} was proven.")
    oxygen, measured, trend = bench.number("o2_pct"), bench.number("co_ppm"), bench.word("co_trend")
    here = bench.record.position.id
    if trend in ("unstable", "rising"):
        return failed(f"Carbon monoxide in the flue is {trend}.", (FindingCode.CO_HIGH, here), limit=LIMIT)
    if measured is not None and measured >= CO_HOLD_PPM and oxygen is not None and oxygen > MOST_O2:
        # Mostly air, and even so too much: without the air it is more.
        sentence = f"{measured:g} ppm of carbon monoxide in a diluted sample."
        return failed(sentence, (FindingCode.CO_HIGH, here), limit=LIMIT)
    if oxygen is not None and oxygen > MOST_O2:
        sentence = f"With {oxygen:g} % oxygen the sample is mostly air: the combustion test has no result."
        return Graded(Outcome.INCONCLUSIVE, sentence, limit=f"oxygen at most {MOST_O2:g} %")
    if oxygen is None or measured is None:
        return Graded(Outcome.INCONCLUSIVE, "Carbon monoxide and oxygen of the flue were not both read.", limit=LIMIT)
    return _graded_by_co(bench, float(co_air_free_ppm(measured, oxygen)))


def _graded_by_co(bench: Bench, air_free_ppm: float) -> Graded:
    told = f"Carbon monoxide in the flue is {air_free_ppm:.0f} ppm air-free"
    if air_free_ppm >= CO_HOLD_PPM:
        return failed(f"{told}: unsafe.", (FindingCode.CO_HIGH, bench.record.position.id), limit=LIMIT)
    drifted = air_free_ppm >= CO_ADJUST_PPM
    faults = ((FindingCode.CO_ADJUST, bench.record.position.id),) if drifted else ()
    grade, proves = "drifted" if drifted else "good", bench.procedure.proof
    sentence = f"{told}{': adjust the burner' if drifted else ''}."
    return Graded(Outcome.PASS, sentence, grade, proves, LIMIT, faults=faults)


PLATE = "within 5 % of its plate; over 10 % above it over-fired"


def clocking(bench: Bench) -> Graded:
    """What the burner really fires, worked out from what was read or else as written down, against its plate."""
    plate, worked_out = bench.record.setting("input_btu_h"), worked_out_btu_h(bench.number)
    value = worked_out or bench.number("input_btu_h")
    if not value:
        told = f"The input of the {bench.name} was neither clocked nor written down: dial, seconds and heating value."
        return Graded(Outcome.INCONCLUSIVE, told, limit=PLATE, set_value=plate)
    if not plate:
        told = f"{bench.procedure.name} on the {bench.name} proves nothing: its input is not recorded to compare with."
        return Graded(Outcome.INCONCLUSIVE, told, limit=PLATE)
    found, here = judge_input(value, plate), bench.record.position.id
    shown = f"The {bench.name} fires {value:,.0f} Btu/h, {value / plate:.0%} of its plate"
    if found.verdict == "urgent":
        return failed(f"{shown}: over-fired.", (FindingCode.OVER_FIRED, here), limit=PLATE, set_value=plate)
    drifted = found.verdict != "good"
    told = f"{shown}{': adjust it' if drifted else ''}."
    return Graded(Outcome.PASS, told, "drifted" if drifted else "good", bench.procedure.proof, PLATE, plate)


def worked_out_btu_h(number: Callable[[str], float | None]) -> float | None:
    """Btu/h gross, from dial and time of a gas meter, else from nozzle and pump pressure; None where one is missing."""
    dial, seconds, gas = (number(n) for n in ("dial_ft3", "seconds", "gross_btu_ft3"))
    if dial and seconds and gas:
        return float(gas_input_btu_h(dial, seconds, gas))
    nozzle, pump, oil = (number(n) for n in ("nozzle_gph", "pump_psi", "gross_btu_gal"))
    return float(oil_input_btu_h(nozzle_gph(nozzle, pump), oil)) if nozzle and pump and oil else None
