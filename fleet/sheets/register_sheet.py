"""A register sheet: one row per position, building and boiler repeated. It is read whole or refused with all faults."""

from dataclasses import dataclass
from datetime import date

from fleet.errors import Fault, Refused
from fleet.rules.catalogue import Catalogue
from fleet.sheets import columns, delimited
from fleet.sheets.columns import CellValue, is_measured, is_possible
from fleet.sheets.sheet_faults import (
    Cells,
    Lines,
    faults_between_rows,
    find_path_circles,
    header_faults,
    limit_faults,
    path_refs,
    row_faults,
)
from fleet.sheets.table import MAX_FAULTS, SheetTable

__all__ = ["SheetRow", "faults_of", "find_path_circles", "is_measured", "is_possible", "parse_sheet", "rows_of"]


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
    on_boiler: tuple[tuple[str, CellValue], ...]
    position_ref: str
    position_name: str
    role: str
    hangs_on: tuple[str, ...]
    kind: str
    fitted_on: date | None
    attributes: tuple[tuple[str, CellValue], ...]
    access_hours: str | None = None  # None: the sheet has no such column, and what is on record stays
    coordinates: tuple[tuple[str, float], ...] = ()  # those of columns.COORDINATES that the row gives
    portfolio_ref: str = ""
    needed: bool | None = None
    not_needed_because: str = ""
    declared: tuple[tuple[str, date], ...] = ()

    @property
    def boiler_key(self) -> tuple[str, str]:
        """The natural key of the boiler within its portfolio."""
        return self.building_ref, self.boiler_ref

    @property
    def key(self) -> tuple[str, str, str]:
        """The natural key of the position within its portfolio."""
        return self.building_ref, self.boiler_ref, self.position_ref


def parse_sheet(text: str, catalogue: Catalogue) -> list[SheetRow]:
    """Return the rows of a CSV sheet. Raises Refused with every fault, each at (row, column)."""
    return rows_of(delimited.read_delimited(text, columns.known_columns(catalogue)), catalogue)


def rows_of(table: SheetTable, catalogue: Catalogue) -> list[SheetRow]:
    """Return the rows of a table. Raises Refused with its faults, MAX_FAULTS of them and a count of the others."""
    _refuse_faults(header_faults(table, catalogue))
    lines = _filled_lines(table)
    faults = faults_of(table, lines, catalogue)
    _refuse_faults(sorted(faults, key=lambda f: f.at[0]))
    reader = _RowReader(table, catalogue)
    return [reader.read_row(number, cells) for number, cells in lines]


def faults_of(table: SheetTable, lines: Lines, catalogue: Catalogue) -> list[Fault]:
    """Return the faults of the rows; each kind is limited to a little more than will be shown."""
    faults = [*limit_faults(table.faults)]
    if not lines and not faults:
        faults.append(Fault("no_rows", "The sheet has no rows.", (1,)))
    return [*faults, *limit_faults(row_faults(table, lines, catalogue)), *faults_between_rows(lines, catalogue)]


def _filled_lines(table: SheetTable) -> Lines:
    """Return the filled cells of each row by column. Equal texts are one object, to save memory."""
    shared_texts: dict[str, str] = {}
    header = table.header
    return [
        (number, {c: shared_texts.setdefault(v, v) for c, v in zip(header, record, strict=False) if v})
        for number, record in table.records
    ]


def _refuse_faults(faults: list[Fault]) -> None:
    if not faults:
        return
    more = len(faults) - MAX_FAULTS
    if more > 0:
        message = f"{'At least ' if more > MAX_FAULTS else ''}{more} more faults are not listed here."
        faults = [*faults[:MAX_FAULTS], Fault("more_faults", message)]
    raise Refused.from_faults(faults, status=422)


class _RowReader:
    """Reads rows from cells that have no fault."""

    def __init__(self, table: SheetTable, catalogue: Catalogue) -> None:
        self.has_hours = "access_hours" in table.header
        self.declared = [c for c in table.header if c.startswith(columns.DECLARED_PREFIX)]
        kinds = catalogue.kinds.values()
        self.attributes = {k.code: sorted(k.attributes - {"fitted_on"}) for k in kinds}
        self.on_boiler = [c for c in columns.ON_BOILER if c in table.header]

    def read_row(self, number: int, cells: Cells) -> SheetRow:
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
            on_boiler=self._read_values(self.on_boiler, cells),
            position_ref=get("position_ref", ""),
            position_name=get("position_name", ""),
            role=get("role", ""),
            hangs_on=tuple(path_refs(cells)),
            kind=kind,
            fitted_on=date.fromisoformat(fitted) if fitted else None,
            attributes=self._read_values(self.attributes[kind], cells) if kind else (),
            access_hours=get("access_hours", "") if self.has_hours else None,
            coordinates=tuple((c, float(cells[c])) for c in columns.COORDINATES if c in cells),
            portfolio_ref=get("portfolio_ref", ""),
            needed=get("needed") == "yes" if get("needed") else None,
            not_needed_because=get(columns.NOT_NEEDED_BECAUSE, ""),
            declared=tuple(
                (c[len(columns.DECLARED_PREFIX) :], date.fromisoformat(cells[c])) for c in self._declared_columns(cells)
            ),
        )

    def _read_values(self, names: list[str], cells: Cells) -> tuple[tuple[str, CellValue], ...]:
        return tuple((n, columns.as_value(n, cells[n])) for n in names if n in cells)

    def _declared_columns(self, cells: Cells) -> list[str]:
        return [c for c in self.declared if c in cells]
