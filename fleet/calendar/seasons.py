"""The heating season of a building: a first and a last month-day that recur every year, in local days."""

from dataclasses import dataclass
from datetime import date

# Any leap year will do: it has every month-day that exists.
_LEAP_YEAR = 2000


@dataclass(frozen=True, slots=True)
class HeatingSeason:
    """The season from `start_month`/`start_day` to `end_month`/`end_day`, both days included; it may span New Year.

    29 February is 28 February in other years (domain, settled questions). A season that starts on the day after its end
    runs all year. ValueError for a month-day that no year has.
    """

    start_month: int
    start_day: int
    end_month: int
    end_day: int

    def __post_init__(self) -> None:
        """Raise ValueError for a month-day such as 31 June when the season is made, not when it is first used."""
        for month, day in ((self.start_month, self.start_day), (self.end_month, self.end_day)):
            try:
                date(_LEAP_YEAR, month, day)
            except ValueError as error:
                raise ValueError(f"no such month and day: {month}-{day}") from error

    def start_in(self, year: int) -> date:
        """Return the first day of the season that begins in `year` (1 to 9999)."""
        return _date_in_year(year, self.start_month, self.start_day)

    def first_start_on_or_after(self, day: date) -> date:
        """Return the nearest season start that is not before `day`."""
        this_year = self.start_in(day.year)
        return this_year if this_year >= day else self.start_in(day.year + 1)

    def end_on_or_after(self, day: date) -> date:
        """Return the nearest last day of a season that is not before `day`."""
        this_year = _date_in_year(day.year, self.end_month, self.end_day)
        return this_year if this_year >= day else _date_in_year(day.year + 1, self.end_month, self.end_day)

    def contains(self, day: date) -> bool:
        """Return whether `day` is a day of the season, its first and last days included."""
        has_begun = day >= self.start_in(day.year)
        is_not_over = day <= _date_in_year(day.year, self.end_month, self.end_day)
        over_new_year = (self.start_month, self.start_day) > (self.end_month, self.end_day)
        return (has_begun or is_not_over) if over_new_year else (has_begun and is_not_over)


def _date_in_year(year: int, month: int, day: int) -> date:
    """Return the month-day in `year`; 29 February becomes 28 February in a year without it."""
    try:
        return date(year, month, day)
    except ValueError:
        if (month, day) != (2, 29) or not 1 <= year <= 9999:
            raise
        return date(year, 2, 28)
