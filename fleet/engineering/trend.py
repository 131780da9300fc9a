"""Whether the stack grows hotter over months, by soot or scale. The tests assume no shape of the trend."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from itertools import accumulate, combinations

import numpy as np

from fleet.engineering.checks import Impossible, Range, require
from fleet.engineering.combustion import DIFFERENCE_F

DAY = Range("days", -1e6, 1e6)
MIN_READINGS, MIN_SPAN_DAYS = 6, 28.0  # our choice: with fewer the test has no power; a shorter span shows the weather
MAX_READINGS = 200  # the exact chance is computed by counting
FALSE_ALARM = Fraction(1, 100)  # exact: a chance of one in a hundred is still rising
MONTH_DAYS = 30.0


@dataclass(frozen=True, slots=True)
class Trend:
    """Slope in F per 30 days (None where there are too few readings), the chance of it by luck, and the conclusion.

    `says` is *rising*, *no trend* or *not enough*; `needs` tells what is missing.
    """

    says: str
    slope_f_month: float | None
    chance: float | None
    readings: int
    span_days: float
    needs: str = ""


def stack_trend(days: Sequence[float], differences_f: Sequence[float]) -> Trend:
    """Return the trend of flue-gas less room temperature in F over days (any start), at the same firing rate.

    Slope: the median of all pairs' slopes (Theil, Sen); *rising* where Kendall's rank test, exact for any shape of
    noise, gives 1 % or less by luck. Needs 6 readings over 28 days. Impossible: unequal lists, a day twice, over 200
    readings, a stack colder than the room, NaN.
    """
    _check_readings(days, differences_f)
    span = max(days) - min(days) if days else 0.0
    needs = _missing_readings(len(days), span)
    if needs:
        return Trend("not enough", None, chance=None, readings=len(days), span_days=span, needs=needs)
    order = sorted(zip(days, differences_f, strict=True))
    slopes = [(later[1] - early[1]) / (later[0] - early[0]) for early, later in combinations(order, 2)]
    chance = chance_of_order(len(order), sum(slope > 0 for slope in slopes))
    says = "rising" if chance <= FALSE_ALARM else "no trend"
    slope = float(np.median(slopes)) * MONTH_DAYS
    return Trend(says, slope, chance=float(chance), readings=len(days), span_days=span)


def chance_of_order(count: int, rising_pairs: int) -> Fraction:
    """Return the chance that `count` values in random order have at least so many pairs that rise.

    Exact. A pair of equal values counts as not rising: the conservative side. Source: Kendall's rank correlation, the
    counts are the Mahonian numbers.
    """
    ways = _orders_by_falling_pairs(count)
    falling_at_most = count * (count - 1) // 2 - rising_pairs
    return Fraction(sum(ways[: falling_at_most + 1]), sum(ways))


@cache
def _orders_by_falling_pairs(count: int) -> tuple[int, ...]:
    """Return the numbers of orders of `count` values with 0, 1, 2 ... falling pairs."""
    ways = [1]
    for size in range(2, count + 1):
        # A value put among `size - 1` others makes 0 to size - 1 falling pairs: a running sum over so many.
        sums = [0, *accumulate(ways + [0] * (size - 1))]
        ways = [sums[at + 1] - sums[max(0, at + 1 - size)] for at in range(len(sums) - 1)]
    return tuple(ways)


def _check_readings(days: Sequence[float], differences_f: Sequence[float]) -> None:
    require(DAY.faults_of_each("days", days), DIFFERENCE_F.faults_of_each("differences_f", differences_f))
    if len(days) != len(differences_f):
        raise Impossible("shapes", f"{len(days)} days and {len(differences_f)} readings.", ("differences_f",))
    if len(days) > MAX_READINGS:
        message = f"days: {len(days)} readings; give the newest {MAX_READINGS}."
        raise Impossible("too_many", message, ("days",))
    if len(set(days)) != len(days):
        raise Impossible("day_twice", "days: two readings on one instant have no order.", ("days",))


def _missing_readings(count: int, span_days: float) -> str:
    if count < MIN_READINGS:
        return f"{MIN_READINGS - count} more readings"
    if span_days < MIN_SPAN_DAYS:
        return f"readings over {MIN_SPAN_DAYS:g} days, so far {span_days:g}"
    return ""
