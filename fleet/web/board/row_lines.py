"""The layout of the board's rows: worst first, not surveyed and off apart, with a count of each standing on top."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from fleet.board.board_pages import BoardPage
from fleet.board.queries import BoardRow
from fleet.calendar import day_of
from fleet.deficiencies.models import DeficiencyAct
from fleet.jobs.current_job import CurrentJob
from fleet.portfolio.models import Portfolio
from fleet.rules.values import Standing
from fleet.web.shared.boiler_filter import BoilerFilter, build_query
from fleet.web.shared.glass import GlassDrawing
from fleet.web.templatetags.said import sentences

SEPARATE_STANDINGS = {Standing.NOT_SURVEYED: "Not surveyed", Standing.OFF: "Off"}
GRAVE_STANDINGS = {Standing.HOLD, Standing.EXPOSED, Standing.IMPAIRED}
STANDINGS_IN_NEED = {*GRAVE_STANDINGS, Standing.DUE}


@dataclass(frozen=True, slots=True)
class BoardLine:
    """One row of the board: its proof glass, the number of alerts raised on its boiler, and who is on it.

    `sees_all_jobs`: whether this user sees every job there, so that seeing none means there is none.
    """

    row: BoardRow
    glass: GlassDrawing
    alerts: int
    job: CurrentJob | None = None
    assigned: DeficiencyAct | None = None
    may_make: bool = False
    sees_all_jobs: bool = False

    @property
    def boiler_name(self) -> str:
        """The address and the name of the boiler."""
        return f"{self.row.boiler.building.address}, {self.row.boiler.name}"

    @property
    def css_class(self) -> str:
        """The class of the row: grave standings stand out, a clear boiler without any other reason steps back."""
        calm = self.row.reasons[0].get("rule") == "clear" and not self.more
        grave = self.row.standing in GRAVE_STANDINGS
        return f"row{' row-calm' if calm else ''}{' row-grave' if grave else ''}"

    @property
    def first_sentence(self) -> str:
        """The first sentence of what to do next."""
        return " ".join(sentences(self.row.then)[:1])

    @property
    def second_sentence(self) -> str:
        """The second sentence of what to do next; "" without one."""
        return " ".join(sentences(self.row.then)[1:2])

    @property
    def sentence_count(self) -> int:
        """How many sentences what to do next has."""
        return len(sentences(self.row.then))

    @property
    def more(self) -> int:
        """How many reasons there are besides the first, which names the unguarded hazards of a clear boiler itself."""
        first, *others = (reason.get("rule") for reason in self.row.reasons)
        return sum(rule != "not_guarded" or first != "clear" for rule in others)

    @property
    def is_unattended(self) -> bool:
        """Whether the boiler needs somebody and has nobody, as far as this user can know."""
        return (
            self.sees_all_jobs and self.row.standing in STANDINGS_IN_NEED and self.job is None and self.assigned is None
        )


@dataclass(frozen=True, slots=True)
class BoardSection:
    """Rows under one heading."""

    code: str
    title: str
    lines: Sequence[BoardLine]


@dataclass(frozen=True, slots=True)
class BoardSheet:
    """One page of the board. `year` is its clock's; `before` and `after` link to the neighboring pages, or are ""."""

    sections: Sequence[BoardSection]
    counts: Sequence[tuple[str, int]]
    portfolios: Sequence[Portfolio]
    zone: str
    year: int
    page: BoardPage
    before: str
    after: str

    @property
    def row_count(self) -> int:
        """How many rows the page has."""
        return sum(len(section.lines) for section in self.sections)

    @property
    def boilers(self) -> int:
        """How many boilers there are on all pages."""
        return sum(count for _, count in self.counts)


def _board_sections(lines: Sequence[BoardLine]) -> list[BoardSection]:
    in_service = [line for line in lines if line.row.standing not in SEPARATE_STANDINGS]
    sections = [BoardSection("in_service", "In service", in_service)]
    for standing, title in SEPARATE_STANDINGS.items():
        sections.append(BoardSection(standing.value, title, [line for line in lines if line.row.standing == standing]))
    return sections


def lay_out_board(
    lines: Sequence[BoardLine],
    board_page: BoardPage,
    boiler_filter: BoilerFilter,
    portfolios: Sequence[Portfolio],
    zones: Sequence[str],
    at: datetime,
) -> BoardSheet:
    """Lay out the rows in the order given, which is the board's."""
    sections = _board_sections(lines)
    counts = [(standing.value, board_page.counts.get(standing.value, 0)) for standing in Standing]
    before = board_query(boiler_filter, board_page.number - 1) or "?" if board_page.number > 1 else ""
    after = board_query(boiler_filter, board_page.number + 1) if board_page.number < board_page.pages else ""
    # The page shows one clock: that of its buildings if they share a zone, else UTC.
    zone = zones[0] if len(zones) == 1 else "UTC"
    return BoardSheet(
        sections,
        counts,
        portfolios=portfolios,
        zone=zone,
        year=day_of(at, zone).year,
        page=board_page,
        before=before,
        after=after,
    )


def board_query(boiler_filter: BoilerFilter, number: int) -> str:
    """Return the filter and the page number as a query string."""
    return build_query(
        portfolio=boiler_filter.portfolio,
        q=boiler_filter.q,
        standing=boiler_filter.standing,
        page=number if number > 1 else 0,
    )
