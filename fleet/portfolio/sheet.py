"""A register sheet: one row per position, building and boiler repeated. It is read whole or refused with all faults."""

from dataclasses import dataclass
from datetime import date

from fleet.errors import Fault, Refused
from fleet.portfolio import columns, delimited
from fleet.portfolio.columns import Value, measures, possible
from fleet.portfolio.sheetfaults import Cells, Lines, between, circling, first, header_faults, of_rows, refs
from fleet.portfolio.table import MOST_FAULTS, Table
from fleet.rules.catalogue import Catalogue

__all__ = ["SheetRow", "circling", "faults_of", "measures", "parse", "possible", "rows_of"]


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One position. `hangs_on` has the refs of the paths that carry its signal; `kind` '' is an empty place.

    `position_ref` '' is a boiler without any place. None: the sheet does not say.
    """

    line: int
    building_ref: str
    address: str
    zone: str
    units: int | None
    boiler_ref: str
    boiler_name: str
    since: date
    on_boiler: tuple[tuple[str, Value], ...]
    position_ref: str
    position_name: str
    role: str
    hangs_on: tuple[str, ...]
    kind: str
    fitted_on: date | None
    attributes: tuple[tuple[str, Value], ...]
    access_hours: str | None = None  # None: the sheet has no such column, and what is on record stays
    portfolio_ref: str = ""
    needed: bool | None = None
    declared: tuple[tuple[str, date], ...] = ()

    @property
    def boiler_key(self) -> tuple[str, str]:
        """The natural key of the boiler within its portfolio."""
        return self.building_ref, self.boiler_ref

    @property
    def key(self) -> tuple[str, str, str]:
        """The natural key of the position within its portfolio."""
        return self.building_ref, self.boiler_ref, self.position_ref


def parse(text: str, catalogue: Catalogue) -> list[SheetRow]:
    """Return the rows of a CSV sheet. Raises Refused with every fault, each at (row, column)."""
    return rows_of(delimited.table(text, columns.known(catalogue)), catalogue)


def rows_of(table: Table, catalogue: Catalogue) -> list[SheetRow]:
    """Return the rows of a table. Raises Refused with its faults, MAX_FAULTS of them and a count of the others."""
    _refuse(header_faults(table, catalogue))
    lines = _lines(table)
    faults = faults_of(table, lines, catalogue)
    _refuse(sorted(faults, key=lambda f: f.at[0]))
    reads = _Reader(table, catalogue)
    return [reads.row(number, cells) for number, cells in lines]


def faults_of(table: Table, lines: Lines, catalogue: Catalogue) -> list[Fault]:
    """Return the faults of the rows; each kind is limited to a little more than will be shown."""
    faults = [*first(table.faults)]
    if not lines and not faults:
        faults.append(Fault("no_rows", "The sheet has no rows.", (1,)))
    return [*faults, *first(of_rows(table, lines, catalogue)), *between(lines, catalogue)]


def _lines(table: Table) -> Lines:
    """Return the filled cells of each row by column. Equal texts are one object, to save memory."""
    kept: dict[str, str] = {}
    header = table.header
    return [
        (number, {c: kept.setdefault(v, v) for c, v in zip(header, record, strict=False) if v})
        for number, record in table.records
    ]


def _refuse(faults: list[Fault]) -> None:
    if not faults:
        return
    more = len(faults) - MOST_FAULTS
    if more > 0:
        told = f"{'At least ' if more > MOST_FAULTS else ''}{more} faults more than are told here."
        faults = [*faults[:MOST_FAULTS], Fault("more_faults", told)]
    raise Refused.all(faults, status=422)


class _Reader:
    """Reads rows from cells that have no fault."""

    def __init__(self, table: Table, catalogue: Catalogue) -> None:
        self.has_hours = "access_hours" in table.header
        self.declared = [c for c in table.header if c.startswith(columns.DECLARED)]
        kinds = catalogue.kinds.values()
        self.attributes = {k.code: sorted(k.attributes - {"fitted_on"}) for k in kinds}
        self.on_boiler = [c for c in columns.ON_BOILER if c in table.header]

    def row(self, number: int, cells: Cells) -> SheetRow:
        """Return one row."""
        get, kind = cells.get, cells.get("kind", "")
        fitted = get("fitted_on", "")
        return SheetRow(
            line=number,
            building_ref=cells["building_ref"],
            address=cells["address"],
            zone=cells["zone"],
            units=int(cells["units"].partition(".")[0]) if "units" in cells else None,
            boiler_ref=cells["boiler_ref"],
            boiler_name=cells["boiler_name"],
            since=date.fromisoformat(cells["since"]),
            on_boiler=self._values(self.on_boiler, cells),
            position_ref=get("position_ref", ""),
            position_name=get("position_name", ""),
            role=get("role", ""),
            hangs_on=tuple(refs(cells)),
            kind=kind,
            fitted_on=date.fromisoformat(fitted) if fitted else None,
            attributes=self._values(self.attributes[kind], cells) if kind else (),
            access_hours=get("access_hours", "") if self.has_hours else None,
            portfolio_ref=get("portfolio_ref", ""),
            needed=get("needed") == "yes" if get("needed") else None,
            declared=tuple((c[len(columns.DECLARED) :], date.fromisoformat(cells[c])) for c in self._said(cells)),
        )

    def _values(self, names: list[str], cells: Cells) -> tuple[tuple[str, Value], ...]:
        return tuple((n, columns.as_value(n, cells[n])) for n in names if n in cells)

    def _said(self, cells: Cells) -> list[str]:
        return [c for c in self.declared if c in cells]
