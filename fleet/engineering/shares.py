"""The uncertainty of a share that was counted from few trials."""

from dataclasses import dataclass
from math import sqrt

from fleet.engineering.checks import Range, require

COUNT = Range("", 0, 1e9)
TRIAL_COUNT = Range("", 1, 1e9, why="Without a trial there is no share.")
Z_95 = 1.959963984540054  # the normal distribution's 97.5 % point: 95 % lies between minus and plus this


@dataclass(frozen=True, slots=True)
class Share:
    """A share of trials, 0 to 1, and the bounds between which the true one lies, nineteen times in twenty."""

    share: float
    low: float
    high: float


def share_of(failed: int, tried: int) -> Share:
    """Return the share `failed` of `tried` (at least 1) with its 95 % interval, all from 0 to 1.

    Wilson's score interval, which stays within 0 and 1 and holds for few trials and for none failed: NIST/SEMATECH
    e-Handbook of Statistical Methods, 7.2.4.1 (number from memory). It takes the trials as alike and independent.
    Impossible: more failed than tried, no trial, negative counts.
    """
    require(COUNT.faults("failed", failed), TRIAL_COUNT.faults("tried", tried))
    require(Range("", 0, tried, why="More failed than were tried.").faults("failed", failed))
    share, square = failed / tried, Z_95**2
    middle = share + square / (2 * tried)
    half = Z_95 * sqrt(share * (1 - share) / tried + square / (4 * tried**2))
    whole = 1 + square / tried
    # At the ends the formula gives the share itself; rounding must not put it outside its own bounds.
    return Share(share, max(0.0, min(share, (middle - half) / whole)), min(1.0, max(share, (middle + half) / whole)))
