"""How the board's rows are laid out: worst first, not surveyed and off apart, a count of each standing on top."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from uuid import UUID

from fleet.board.queries import Row
from fleet.rules.values import Standing

APART = {Standing.NOT_SURVEYED: "Not surveyed", Standing.OFF: "Off"}


@dataclass(frozen=True, slots=True)
class Line:
    """One row of the board and how many alerts are raised on its boiler."""

    row: Row
    alerts: int

    @property
    def more(self) -> int:
        """How many reasons stand behind the first."""
        return len(self.row.reasons) - 1


@dataclass(frozen=True, slots=True)
class Section:
    """Rows under one heading."""

    code: str
    title: str
    lines: Sequence[Line]


@dataclass(frozen=True, slots=True)
class Sheet:
    """The whole board."""

    sections: Sequence[Section]
    counts: Sequence[tuple[str, int]]
    boilers: int
    portfolios: Sequence[str]
    zone: str


def lay_out(rows: Sequence[Row], alerts: Mapping[UUID, int]) -> Sheet:
    """Lay the rows out as they come: the board has put them in order."""
    lines = [Line(row, alerts.get(row.boiler.id, 0)) for row in rows]
    main = [line for line in lines if line.row.standing not in APART]
    apart = [Section(s.value, t, [n for n in lines if n.row.standing == s]) for s, t in APART.items()]
    counted = Counter(row.standing for row in rows)
    counts = [(standing.value, counted[standing]) for standing in Standing]
    zones = {row.boiler.building.zone for row in rows}
    names = sorted({row.boiler.building.portfolio.name for row in rows})
    # One clock heads the sheet: that of its buildings where they share one.
    zone = zones.pop() if len(zones) == 1 else "UTC"
    return Sheet([Section("in_service", "In service", main), *apart], counts, len(rows), names, zone)
