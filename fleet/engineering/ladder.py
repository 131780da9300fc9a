"""The pressure ladder: cut-in < cut-out < high limit < safety valve <= 15 psig, with room between the rungs.

Source: published values section 3 (HG-605, CW-310 from memory; trade practice); classes by the table of findings.
"""

from dataclasses import dataclass

MOST_PSI = 15.0  # MAWP of a low-pressure steam boiler (COMAR 09.12.01.10)
LIMIT_UNDER_VALVE_PSI = 2.0
CONTROL_UNDER_VALVE_PSI = 5.0  # operating gap, valve practice for set pressures up to 70 psi


@dataclass(frozen=True, slots=True)
class Ladder:
    """Set points in psig; None where unknown."""

    cut_in_psi: float | None = None
    cut_out_psi: float | None = None
    limit_psi: float | None = None
    valve_psi: float | None = None


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with a ladder: its class (hold, urgent, routine) and a sentence."""

    code: str
    level: str
    sentence: str


def cut_out(main_psi: float, differential_psi: float, sense: str) -> float:
    """Return the cut-out in psig of a control set at `main_psi` with `differential_psi` (both >= 0).

    An additive control has its scale at cut-in, a subtractive one at cut-out. ValueError for any other sense.
    """
    if sense == "additive":
        return main_psi + differential_psi
    if sense == "subtractive":
        return main_psi
    raise ValueError(f"a differential is additive or subtractive, not {sense!r}")


def cut_in(main_psi: float, differential_psi: float, sense: str) -> float:
    """Return the cut-in in psig of the same control. ValueError for an unknown sense."""
    return cut_out(main_psi, differential_psi, sense) - differential_psi


def faults(ladder: Ladder) -> list[Fault]:
    """Return everything wrong with the ladder, worst first; unknown rungs are not compared."""
    found = [*_over_fifteen(ladder), *_limit_at_valve(ladder), *_order(ladder), *_gaps(ladder)]
    return sorted(found, key=lambda f: ("hold", "urgent", "routine").index(f.level))


def _over_fifteen(ladder: Ladder) -> list[Fault]:
    rungs = (("cut-out", ladder.cut_out_psi), ("high limit", ladder.limit_psi), ("safety valve", ladder.valve_psi))
    over = [(name, psi) for name, psi in rungs if psi is not None and psi > MOST_PSI]
    return [Fault("ladder_over_fifteen", "hold", f"The {n} is set at {p:g} psi, over {MOST_PSI:g}.") for n, p in over]


def _limit_at_valve(ladder: Ladder) -> list[Fault]:
    if ladder.limit_psi is None or ladder.valve_psi is None or ladder.limit_psi < ladder.valve_psi:
        return []
    sentence = f"The high limit at {ladder.limit_psi:g} psi is not under the safety valve at {ladder.valve_psi:g} psi."
    return [Fault("ladder_limit_at_valve", "hold", sentence)]


def _order(ladder: Ladder) -> list[Fault]:
    found = []
    if ladder.limit_psi is not None and ladder.cut_out_psi is not None and ladder.limit_psi <= ladder.cut_out_psi:
        sentence = f"The high limit at {ladder.limit_psi:g} psi is not above the cut-out at {ladder.cut_out_psi:g} psi."
        found.append(Fault("ladder_limit_at_cut_out", "urgent", sentence))
    if ladder.cut_in_psi is not None and ladder.cut_out_psi is not None and ladder.cut_in_psi >= ladder.cut_out_psi:
        sentence = f"The cut-in at {ladder.cut_in_psi:g} psi is not below the cut-out at {ladder.cut_out_psi:g} psi."
        found.append(Fault("ladder_cut_in", "urgent", sentence))
    return found


def _gaps(ladder: Ladder) -> list[Fault]:
    valve, found = ladder.valve_psi, []
    if valve is None:
        return []
    if ladder.limit_psi is not None and 0 < valve - ladder.limit_psi < LIMIT_UNDER_VALVE_PSI:
        gap = valve - ladder.limit_psi
        sentence = f"Only {gap:g} psi lie between high limit and safety valve: at least {LIMIT_UNDER_VALVE_PSI:g}."
        found.append(Fault("ladder_limit_gap", "urgent", sentence))
    if ladder.cut_out_psi is not None and valve - ladder.cut_out_psi < CONTROL_UNDER_VALVE_PSI:
        gap = valve - ladder.cut_out_psi
        sentence = f"Only {gap:g} psi lie between cut-out and safety valve: at least {CONTROL_UNDER_VALVE_PSI:g}."
        found.append(Fault("ladder_operating_gap", "routine", sentence))
    return found
