"""Graders of the fire side that need more than their row: the combustion test."""

from fleet.rules.ledger import Bench
from fleet.rules.verdicts.graded import Graded, failed

AIR_O2 = 20.9  # percent by volume, dry (published values, section 6.4, from memory)
MOST_O2 = 18.0  # above it the air-free value runs away: no result
CO_HIGH_PPM = 400.0  # air-free, vented heating (S33)
CO_ADJUST_PPM = 100.0  # air-free (common practice)
AMBIENT_CO_PPM = 35.0  # S34
LIMIT = f"CO air-free under {CO_ADJUST_PPM:g} ppm and steady; in the room at most {AMBIENT_CO_PPM:g} ppm"


def air_free(co_ppm: float, o2_pct: float) -> float:
    """Return flue CO in ppm as it would be without the excess air; ValueError at or over the oxygen of air."""
    if o2_pct >= AIR_O2:
        raise ValueError(f"{o2_pct:g} % oxygen is air")
    return co_ppm * AIR_O2 / (AIR_O2 - o2_pct)


def combustion(bench: Bench) -> Graded:
    """Flue and room: what the flue says may be no result, what the room says always counts."""
    flue, here = _flue(bench), bench.record.position.id
    room = bench.number("ambient_co_ppm")
    if room is None or room <= AMBIENT_CO_PPM:
        return flue
    sentence = f"{room:g} ppm of carbon monoxide in the room: people are in danger. {flue.sentence}"
    return failed(sentence, ("ambient_co", here), *flue.faults, limit=LIMIT)


def _flue(bench: Bench) -> Graded:
    if bench.flag("burner_firing") is False:
        return Graded("not_a_test", f"The burner was off: nothing about the {bench.name} was proven.")
    oxygen, measured, trend = bench.number("o2_pct"), bench.number("co_ppm"), bench.word("co_trend")
    if oxygen is not None and oxygen > MOST_O2:
        sentence = f"With {oxygen:g} % oxygen the sample is mostly air: the combustion test has no result."
        return Graded("inconclusive", sentence, limit=f"oxygen at most {MOST_O2:g} %")
    here = bench.record.position.id
    if trend in ("unstable", "rising"):
        return failed(f"Carbon monoxide in the flue is {trend}.", ("co_high", here), limit=LIMIT)
    if oxygen is None or measured is None:
        return Graded("inconclusive", "Carbon monoxide and oxygen of the flue were not both read.", limit=LIMIT)
    value = air_free(measured, oxygen)
    told = f"Carbon monoxide in the flue is {value:.0f} ppm air-free"
    if value >= CO_HIGH_PPM:
        return failed(f"{told}: unsafe.", ("co_high", here), limit=LIMIT)
    drifted = value >= CO_ADJUST_PPM
    faults = (("co_adjust", here),) if drifted else ()
    grade, proves = "drifted" if drifted else "good", bench.procedure.proof
    return Graded("pass", f"{told}{': adjust the burner' if drifted else ''}.", grade, proves, LIMIT, faults=faults)
