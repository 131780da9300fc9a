"""Make-up water: use between meter readings, per day and per degree-day, and whether it has changed.

No published limit exists (published values, section 8): a boiler is compared with its own past.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import comb, exp, fsum, log, sqrt
from statistics import fmean

from fleet.engineering.checks import Impossible, Range, require
from fleet.engineering.last_places import compare
from fleet.engineering.steam import WATER_F, water_lb_gal
from fleet.engineering.units import factor

DAY = Range("days", -1e7, 1e7)
METER = Range("", 0, 1e12, why="a register counts from nothing up")
ROLLS_AT = Range("", 9, 1e12, why="a register has at least one wheel")
GALLONS = Range("gal", 0, 1e9, why="water used is never negative")
DAYS = Range("days", 0, 1e5, low_in=False, why="use in no time is no rate")
DEGREE_DAYS = Range("degree-days", 0, 1e5, low_in=False, why="without heating weather there is no use per degree-day")
MEAN_F = Range("F", -80, 140, why="no day's mean is that cold or hot")
STEAM_LB = Range("lb", 0, 1e12, low_in=False, why="a share of no steam is no number")
RATE = Range("", 0, 1e9, why="a rate of use is never negative")
SMALLEST_RATE = Range("", 0, 1e9, low_in=False, why="the smallest rate a meter can tell is above nothing")

MAX_PAST_PERIODS, MIN_PAST_PERIODS, GROWTH_PERIODS = 12, 8, 3
MIN_TIMES_USUAL = 1.5  # smaller changes are not worth a visit: our choice
MIN_LOG_SPREAD = 0.1  # of the natural logarithm; guards against readings that are equal by chance: our choice
# By count of past periods: what the newest log rate's distance from the mean of the past without its highest, over
# their standard deviation, exceeds by luck in 0.5 % of readings. Simulated, 8 million draws of a normal log rate each.
JUMP_LIMITS = {8: 5.096, 9: 4.677, 10: 4.379, 11: 4.155, 12: 3.985}
JUMP_FALSE_ALARM = 0.005


@dataclass(frozen=True, slots=True)
class MeterReading:
    """A meter reading: the instant in days from any start, the figure, and the meter's name where it was changed."""

    day: float
    value: float
    meter: str = ""


@dataclass(frozen=True, slots=True)
class WaterUse:
    """Water used between two readings. `gallons` is None where it is not known; `note` says why or what was assumed."""

    start_day: float
    end_day: float
    gallons: float | None
    note: str = ""

    @property
    def days(self) -> float:
        """Length in days."""
        return self.end_day - self.start_day

    @property
    def gallons_per_day(self) -> float | None:
        """Rate in gal/day, None where the use is not known."""
        return None if self.gallons is None else self.gallons / self.days


@dataclass(frozen=True, slots=True)
class MakeupChange:
    """A comparison with the past. `says`: *jump*, *growing*, *usual* or *not enough*. `false_alarm`: chance of one.

    `usual` is the rate held against (same unit as the rates), `times` the newest over it.
    """

    says: str
    usual: float | None
    times: float | None
    false_alarm: float
    needs: str = ""


def water_uses(readings: Sequence[MeterReading], rolls_at: float | None = None, unit: str = "gal") -> list[WaterUse]:
    """Return the water used between readings, in gal, of a meter in `unit` (gal, ft3, L, m3), days as they come.

    Going back is never a negative use. With `rolls_at` (99 999 + 1 say 100 000) and at most half a turn passed it is
    the register rolling over; else, or where the meter's name changed, that period is not known. Impossible: days
    not in order, a figure the register can't show, NaN.
    """
    _check_readings(readings, rolls_at)
    gallons = factor(unit, "gal")
    return [_use_between(early, late, rolls_at, gallons) for early, late in pairwise(readings)]


def use_per_day(gallons: float, days: float) -> float:
    """Return the use in gal/day of so many gal (from 0) in so many days (over 0)."""
    require(GALLONS.faults("gallons", gallons), DAYS.faults("days", days))
    return gallons / days


def use_per_degree_day(gallons: float, degree_days: float) -> float:
    """Return the use in gal per degree-day of so many gal (from 0) and degree-days (over 0)."""
    require(GALLONS.faults("gallons", gallons), DEGREE_DAYS.faults("degree_days", degree_days))
    return gallons / degree_days


def heating_degree_days(means_f: Sequence[float], base_f: float = 65.0) -> float:
    """Return the heating degree-days of days with these mean temperatures in F, under a base (usual: 65 F)."""
    require(MEAN_F.faults_of_each("means_f", means_f), MEAN_F.faults("base_f", base_f))
    return sum(max(0.0, base_f - mean) for mean in means_f)


def share_of_steam_percent(gallons: float, steam_lb: float, water_f: float = 60.0) -> float:
    """Return make-up in gal (from 0, at 60 F) in % of the steam made in lb (over 0). Published values, section 8.

    Over 100 is possible: a meter that serves something else, or a leak under the water line.
    """
    require(
        GALLONS.faults("gallons", gallons), STEAM_LB.faults("steam_lb", steam_lb), WATER_F.faults("water_f", water_f)
    )
    return 100 * gallons * water_lb_gal(water_f) / steam_lb


def judge_change(rates: Sequence[float], least: float = 0.1) -> MakeupChange:
    """Return whether the newest of `rates` (gal/day or per degree-day, oldest first) departs from the boiler's past.

    *jump*: the newest against the up to 12 before it (at least 8, the highest left out, so that one earlier leak does
    not hide the next), on logarithms; 0.5 % false alarms where they scatter normally, about 1.1 % with heavy tails,
    about 5 % where they scatter far to the high side only. *growing*: the three newest all above all up to 12 before
    them; 1/C(n+3, 3) by luck, 1 in 455 for 12, for any scatter. Neither under 1.5 times the usual. `least` is the
    smallest rate the meter tells. Weather is not random: give rates per degree-day in season.
    """
    require(RATE.faults_of_each("rates", rates), SMALLEST_RATE.faults("least", least))
    past = [log(max(rate, least)) for rate in rates[:-1]][-MAX_PAST_PERIODS:]
    if len(past) < MIN_PAST_PERIODS:
        return MakeupChange(
            "not enough", None, times=None, false_alarm=0.0, needs=f"{MIN_PAST_PERIODS - len(past)} more periods"
        )
    past_without_highest = sorted(past)[:-1]
    centre = fmean(past_without_highest)
    usual = exp(centre)
    times = max(rates[-1], least) / usual
    spread = sqrt(fsum((log_rate - centre) ** 2 for log_rate in past_without_highest) / (len(past_without_highest) - 1))
    is_worth_telling = compare(times, MIN_TIMES_USUAL) >= 0
    has_jumped = log(times) > JUMP_LIMITS[len(past)] * max(spread, MIN_LOG_SPREAD) and is_worth_telling
    has_grown, by_luck = _has_grown(rates)
    says = "jump" if has_jumped else "growing" if has_grown and is_worth_telling else "usual"
    return MakeupChange(says, usual, times, JUMP_FALSE_ALARM + by_luck)


def _has_grown(rates: Sequence[float]) -> tuple[bool, float]:
    """Return whether the newest three all exceed those before them, and the chance of that by luck, 0 to 1."""
    earlier, newest = rates[:-GROWTH_PERIODS][-MAX_PAST_PERIODS:], rates[-GROWTH_PERIODS:]
    if len(earlier) < MIN_PAST_PERIODS:
        return False, 0.0
    return min(newest) > max(earlier), 1 / comb(len(earlier) + GROWTH_PERIODS, GROWTH_PERIODS)


def _use_between(early: MeterReading, late: MeterReading, rolls_at: float | None, gallons: float) -> WaterUse:
    if late.meter != early.meter:
        return WaterUse(early.day, late.day, None, "meter replaced")
    volume = late.value - early.value
    if volume >= 0:
        return WaterUse(early.day, late.day, volume * gallons)
    if rolls_at is not None and volume + rolls_at <= rolls_at / 2:
        return WaterUse(early.day, late.day, (volume + rolls_at) * gallons, "rolled over")
    return WaterUse(early.day, late.day, None, "went back: replaced or misread")


def _check_readings(readings: Sequence[MeterReading], rolls_at: float | None) -> None:
    require(
        DAY.faults_of_each("days", [reading.day for reading in readings]),
        METER.faults_of_each("values", [reading.value for reading in readings]),
        [] if rolls_at is None else ROLLS_AT.faults("rolls_at", rolls_at),
    )
    for index, (early, late) in enumerate(pairwise(readings), 1):
        if late.day <= early.day:
            message = f"days: reading {index + 1} is not after the one before it."
            raise Impossible("not_in_order", message, ("days", index))
    for index, reading in enumerate(readings):
        if rolls_at is not None and reading.value >= rolls_at:
            message = f"values: {reading.value:g} cannot stand on a register that rolls over at {rolls_at:g}."
            raise Impossible("over_the_register", message, ("values", index))
