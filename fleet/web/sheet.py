"""How the board's rows are laid out: worst first, not surveyed and off apart, a count of each standing on top."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from fleet.board.paged import Shown
from fleet.board.queries import Row
from fleet.deficiencies.models import Act
from fleet.jobs.onto import On
from fleet.portfolio.models import Portfolio
from fleet.rules.values import Standing
from fleet.web.glass import Drawn
from fleet.web.narrow import Narrow, query

APART = {Standing.NOT_SURVEYED: "Not surveyed", Standing.OFF: "Off"}
# What asks nobody for anything is shown in part: so many at first, so many more at each asking.
PARTLY = (Standing.CLEAR, Standing.NOT_SURVEYED, Standing.OFF)
FIRST, MORE, MOST = 50, 200, 20_000
NEEDS = {Standing.HOLD, Standing.EXPOSED, Standing.IMPAIRED, Standing.DUE}


@dataclass(frozen=True, slots=True)
class Line:
    """One row of the board: its glass, how many alerts are raised on its boiler, who is on it.

    `knows`: whether this person sees every job there, so that no job seen is no job.
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
        """How many reasons stand behind the first."""
        return len(self.row.reasons) - 1

    @property
    def nobody(self) -> bool:
        """Whether it needs somebody and nobody has it, as far as this person can know."""
        return self.knows and self.row.standing in NEEDS and self.job is None and self.assigned is None


@dataclass(frozen=True, slots=True)
class Section:
    """Rows under one heading, how many of its boilers are left out, and the address that shows more of them."""

    code: str
    title: str
    lines: Sequence[Line]
    left: int = 0
    others: str = ""

    @property
    def next(self) -> int:
        """How many more that address shows."""
        return min(self.left, MORE)


@dataclass(frozen=True, slots=True)
class Sheet:
    """The whole board."""

    sections: Sequence[Section]
    counts: Sequence[tuple[str, int]]
    portfolios: Sequence[Portfolio]
    zone: str

    @property
    def shown(self) -> int:
        """How many rows there are."""
        return sum(len(section.lines) for section in self.sections)

    @property
    def boilers(self) -> int:
        """How many there are, shown or not."""
        return sum(count for _, count in self.counts)


def lay_out(
    lines: Sequence[Line],
    shown: Shown,
    asked: Narrow,
    most: Mapping[str, int],
    portfolios: Sequence[Portfolio],
    zones: Sequence[str],
) -> Sheet:
    """Lay the rows out as they come: the board has put them in order."""
    main = [line for line in lines if line.row.standing not in APART]
    listed = [_section("in_service", "In service", main, Standing.CLEAR, shown, asked, most)]
    for standing, title in APART.items():
        own = [line for line in lines if line.row.standing == standing]
        listed.append(_section(standing.value, title, own, standing, shown, asked, most))
    counts = [(standing.value, shown.counts.get(standing.value, 0)) for standing in Standing]
    # One clock heads the sheet: that of its buildings where they share one.
    return Sheet(listed, counts, portfolios, zones[0] if len(zones) == 1 else "UTC")


def _section(
    code: str,
    title: str,
    lines: Sequence[Line],
    partly: Standing,
    shown: Shown,
    asked: Narrow,
    most: Mapping[str, int],
) -> Section:
    left = shown.left.get(partly.value, 0)
    return Section(code, title, lines, left, address(asked, {**most, partly.value: most[partly.value] + MORE}))


def address(asked: Narrow, most: Mapping[str, int]) -> str:
    """What the address of the board asks for, as a query string: the filter and how many of each group."""
    wider = {standing: number for standing, number in most.items() if number != FIRST}
    return query(portfolio=asked.portfolio, q=asked.q, standing=asked.standing, **wider)
