"""The heating season of a building: a first and a last month-day that recur every year, in local days."""

from dataclasses import dataclass
from datetime import date

# Any leap year will do: it has every month-day that exists.
_LEAP = 2000


@dataclass(frozen=True, slots=True)
class Season:
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
                date(_LEAP, month, day)
            except ValueError as error:
                raise ValueError(f"no such month and day: {month}-{day}") from error

    def start_in(self, year: int) -> date:
        """Return the first day of the season that begins in `year` (1 to 9999)."""
        return _month_day(year, self.start_month, self.start_day)

    def first_start_on_or_after(self, day: date) -> date:
        """Return the nearest season start that is not before `day`."""
        this_year = self.start_in(day.year)
        return this_year if this_year >= day else self.start_in(day.year + 1)

    def end_on_or_after(self, day: date) -> date:
        """Return the nearest last day of a season that is not before `day`."""
        this_year = _month_day(day.year, self.end_month, self.end_day)
        return this_year if this_year >= day else _month_day(day.year + 1, self.end_month, self.end_day)

    def contains(self, day: date) -> bool:
        """Return whether `day` is a day of the season, its first and last days included."""
        begun = day >= self.start_in(day.year)
        not_over = day <= _month_day(day.year, self.end_month, self.end_day)
        over_new_year = (self.start_month, self.start_day) > (self.end_month, self.end_day)
        return (begun or not_over) if over_new_year else (begun and not_over)


def _month_day(year: int, month: int, day: int) -> date:
    """Return the month-day in `year`; 29 February becomes 28 February in a year without it."""
    try:
        return date(year, month, day)
    except ValueError:
        if (month, day) != (2, 29) or not 1 <= year <= 9999:
            raise
        return date(year, 2, 28)
