"""Calendar months and the intervals of procedures. A month is a calendar month, clamped to its last day."""

import re
from calendar import monthrange
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final, Literal, Self, get_args

Unit = Literal["day", "week", "month"]

_UNIT_BY_CODE: Final[dict[str, Unit]] = {"d": "day", "w": "week", "mo": "month"}
_CODE_BY_UNIT: Final[dict[Unit, str]] = {unit: code for code, unit in _UNIT_BY_CODE.items()}
# ASCII digits on purpose: `\d` would match the digits of every script.
_INTERVAL_PATTERN: Final = re.compile(r"([1-9][0-9]{0,3}) (d|w|mo)")
_MAX_COUNT: Final = 9999


def add_months(day: date, n: int) -> date:
    """Return the day `n` calendar months after `day` (before it if negative), clamped to the month's last day.

    31 January + 1 is 28 or 29 February. ValueError outside the years 1 to 9999.
    """
    year, month = divmod(day.year * 12 + day.month - 1 + n, 12)
    last = monthrange(year, month + 1)[1]
    return date(year, month + 1, min(day.day, last))


@dataclass(frozen=True, slots=True)
class Interval:
    """How often something is due: `count` (1 to 9999) days, weeks or calendar months. Written "7 d", "1 w", "3 mo"."""

    count: int
    unit: Unit

    def __post_init__(self) -> None:
        """Raise ValueError for an unknown unit or for a count outside 1 to 9999."""
        if self.unit not in get_args(Unit) or not 1 <= self.count <= _MAX_COUNT:
            raise ValueError(f"not an interval: {self.count!r} {self.unit!r}")

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read "7 d", "1 w" or "12 mo", exactly as `str()` writes it; ValueError with the text for anything else."""
        match = _INTERVAL_PATTERN.fullmatch(text)
        if not match:
            raise ValueError(f"not an interval such as '7 d', '1 w' or '12 mo': {text!r}")
        return cls(int(match[1]), _UNIT_BY_CODE[match[2]])

    def __str__(self) -> str:
        return f"{self.count} {_CODE_BY_UNIT[self.unit]}"

    def date_after(self, day: date) -> date:
        """Return the day one interval after `day`; OverflowError or ValueError beyond the year 9999."""
        if self.unit == "month":
            return add_months(day, self.count)
        return day + timedelta(days=self.count * (7 if self.unit == "week" else 1))
