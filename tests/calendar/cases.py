"""What the calendar's properties are tried on: zones that ever did something odd come up as often as all the rest."""

from datetime import date, timedelta
from zoneinfo import available_timezones

from hypothesis import strategies as st

from fleet.calendar import HeatingSeason, Interval

ODD_ZONES = [
    "Africa/Cairo",
    "America/Sao_Paulo",
    "America/St_Johns",
    "America/Toronto",
    "Asia/Beirut",
    "Asia/Manila",
    "Atlantic/Azores",
    "Australia/Lord_Howe",
    "Pacific/Apia",
    "Pacific/Kwajalein",
]
ZONES = st.sampled_from(ODD_ZONES) | st.sampled_from(sorted(available_timezones()))
# Changes of the clock are rare days: those where a known oddity lies are drawn on purpose, with their neighbours.
ODD_DAYS = [date(1919, 3, 31), date(1993, 8, 21), date(2010, 11, 7), date(2011, 12, 30), date(2018, 11, 4)]
NEAR_ODD_DAYS = st.builds(lambda day, by: day + timedelta(days=by), st.sampled_from(ODD_DAYS), st.integers(-2, 2))
DAYS = NEAR_ODD_DAYS | st.dates(date(1850, 1, 1), date(2150, 1, 1))

INTERVALS = st.builds(Interval, st.integers(1, 60), st.sampled_from(["day", "week", "month"]))
MONTH_DAYS = st.dates(date(2000, 1, 1), date(2000, 12, 31)).map(lambda day: (day.month, day.day))
SEASONS = st.builds(lambda start, end: HeatingSeason(*start, *end), MONTH_DAYS, MONTH_DAYS)
GRACES = st.integers(0, 120)
