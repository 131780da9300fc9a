"""Comparisons of readings in the last place of their unit, so that no verdict hangs on binary rounding.

8.2 less 7.2 is a little over 1 in binary. Here both are whole numbers of hundredths, as people read and write them. A
value in SI units that converts to a bound falls on it. The places are our choice: a tenth of what a gauge, a rule or an
analyzer can show, so that what is written down is never rounded onto the other side of a bound.
"""

import math

# The smallest step that counts, by unit.
STEPS_PER_UNIT: dict[str, int] = {
    "psi": 100,
    "in": 100,
    "in w.c.": 1000,
    "ppm": 10,
    "%": 100,
    "F": 10,
    "F diff": 10,
    "s": 100,
    "min": 100,
    "lb/h": 1000,
    "in2": 100,
    "ft3": 100,
    "Btu/h": 1,
    "gal": 100,
}
STEPS_OF_A_BARE_NUMBER = 1_000_000  # ratios, counts and shares
FURTHEST = 1e300  # steps; what lies beyond is as far away as anything


def last_places(value: float, unit: str = "") -> int:
    """Return `value` as a whole number of the last places of its unit, halves away from zero. NaN lies beyond all."""
    steps = max(-FURTHEST, min(FURTHEST, value * STEPS_PER_UNIT.get(unit, STEPS_OF_A_BARE_NUMBER)))
    return int(math.copysign(math.floor(abs(steps) + 0.5 + 1e-7), steps))


def compare(value: float, bound: float, unit: str = "") -> int:
    """Return -1 where `value` is under `bound`, 0 where both are the same to the last place, 1 where it is over."""
    low, high = last_places(value, unit), last_places(bound, unit)
    return (low > high) - (low < high)


def compare_distance(value: float, other_value: float, distance: float, unit: str = "") -> int:
    """Return -1, 0 or 1 as two values of one unit lie less than, exactly or more than `distance` apart."""
    apart, allowed = abs(last_places(value, unit) - last_places(other_value, unit)), last_places(distance, unit)
    return (apart > allowed) - (apart < allowed)


def compare_gap(low: float, high: float, gap: float, unit: str = "") -> int:
    """Return -1, 0 or 1 as `high` lies less than, exactly or more than `gap` above `low`."""
    between, needed = last_places(high, unit) - last_places(low, unit), last_places(gap, unit)
    return (between > needed) - (between < needed)
