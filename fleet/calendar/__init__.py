"""PURE. Days, months, zones, seasons and the dates that follow from them; never reads a clock."""

from fleet.calendar.days import day_of, day_start
from fleet.calendar.due import DueDates, calendar_due, nth_firing_day, season_due
from fleet.calendar.months import Interval, Unit, add_months
from fleet.calendar.seasons import HeatingSeason

__all__ = [
    "DueDates",
    "HeatingSeason",
    "Interval",
    "Unit",
    "add_months",
    "calendar_due",
    "day_of",
    "day_start",
    "nth_firing_day",
    "season_due",
]
