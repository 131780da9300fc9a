"""The layout of the board's rows: worst first, not surveyed and off apart, with a count of each standing on top."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from fleet.board.paged import Shown
from fleet.board.queries import Row
from fleet.calendar import day_of
from fleet.deficiencies.models import Act
from fleet.jobs.onto import On
from fleet.portfolio.models import Portfolio
from fleet.rules.values import Standing
from fleet.web.glass import Drawn
from fleet.web.narrow import Narrow, query

APART = {Standing.NOT_SURVEYED: "Not surveyed", Standing.OFF: "Off"}
NEEDS = {Standing.HOLD, Standing.EXPOSED, Standing.IMPAIRED, Standing.DUE}


@dataclass(frozen=True, slots=True)
class Line:
    """One row of the board: its proof glass, the number of alerts raised on its boiler, and who is on it.

    `sees_all_jobs`: whether this user sees every job there, so that seeing none means there is none.
    """

    row: Row
    glass: Drawn
    alerts: int
    job: On | None = None
    assigned: Act | None = None
    may_make: bool = False
    knows: bool = False

    @property
    def more(self) -> int:
        """How many reasons there are besides the first."""
        return len(self.row.reasons) - 1

    @property
    def nobody(self) -> bool:
        """Whether the boiler needs somebody and has nobody, as far as this user can know."""
        return self.knows and self.row.standing in NEEDS and self.job is None and self.assigned is None


@dataclass(frozen=True, slots=True)
class Section:
    """Rows under one heading."""

    code: str
    title: str
    lines: Sequence[Line]


@dataclass(frozen=True, slots=True)
class Sheet:
    """One page of the board. `year` is its clock's; `before` and `after` link to the neighboring pages, or are ""."""

    sections: Sequence[Section]
    counts: Sequence[tuple[str, int]]
    portfolios: Sequence[Portfolio]
    zone: str
    year: int
    page: Shown
    before: str
    after: str

    @property
    def shown(self) -> int:
        """How many rows the page has."""
        return sum(len(section.lines) for section in self.sections)

    @property
    def boilers(self) -> int:
        """How many boilers there are on all pages."""
        return sum(count for _, count in self.counts)


def lay_out(
    lines: Sequence[Line],
    shown: Shown,
    asked: Narrow,
    portfolios: Sequence[Portfolio],
    zones: Sequence[str],
    at: datetime,
) -> Sheet:
    """Lay out the rows in the order given, which is the board's."""
    sections = [Section("in_service", "In service", [line for line in lines if line.row.standing not in APART])]
    for standing, title in APART.items():
        sections.append(Section(standing.value, title, [line for line in lines if line.row.standing == standing]))
    counts = [(standing.value, shown.counts.get(standing.value, 0)) for standing in Standing]
    before = address(asked, shown.number - 1) or "?" if shown.number > 1 else ""
    after = address(asked, shown.number + 1) if shown.number < shown.pages else ""
    # The page shows one clock: that of its buildings if they share a zone, else UTC.
    zone = zones[0] if len(zones) == 1 else "UTC"
    return Sheet(sections, counts, portfolios, zone, day_of(at, zone).year, shown, before, after)


def address(asked: Narrow, number: int) -> str:
    """Return the filter and the page number as a query string."""
    return query(portfolio=asked.portfolio, q=asked.q, standing=asked.standing, page=number if number > 1 else 0)
