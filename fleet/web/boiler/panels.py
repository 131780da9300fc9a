"""A panel of readings: its charts, each with a question and its answer, and the table with every number."""

import csv
import io
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from uuid import UUID
from zoneinfo import ZoneInfo

from fleet.engineering import calculation_groups
from fleet.errors import Refused
from fleet.sheets.table_output import guard_formula
from fleet.web.boiler.boiler_data import Measure
from fleet.web.shared.number_format import SI, drawn_unit, drawn_value, guard_figures, reader_units, unit_text

NO_VALUE = "\u2013"
MAX_SHOWN_ROWS = 150
MIN_DRAWN_ROWS = 2  # a single point shows no course


@dataclass(frozen=True, slots=True)
class PanelColumn:
    """A table column: its name, and its unit from `engineering.units` or a word shown as it is."""

    name: str
    unit: str = ""

    def __str__(self) -> str:
        """Return the heading of the column."""
        return f"{self.name}, {unit_text(self.unit)}" if self.unit else self.name


@dataclass(frozen=True, slots=True)
class Cell:
    """One value of a row: as text, as a number if it can be drawn, and to how many significant figures."""

    text: str
    value: float | None = None
    figures: int = 3


@dataclass(frozen=True, slots=True)
class PanelRow:
    """One row of the table: when, the visit and line it is from, and a cell for each column."""

    at: datetime
    visit: UUID
    line: int
    cells: tuple[Cell, ...]

    @property
    def instant(self) -> int:
        """Milliseconds since 1970, as charts use."""
        return int(self.at.timestamp() * 1000)


@dataclass(frozen=True, slots=True)
class Plot:
    """A chart: the question it answers, the answer in words, its unit, and which columns are drawn and how.

    `columns` holds pairs (column, kind): *points* are joined; *line* is a set point, stepped and dashed. `least` is the
    minimum span of the vertical axis, so that a small change does not look large. `zero`: the axis starts at 0.
    """

    question: str
    answer: str
    unit: str
    columns: tuple[tuple[int, str], ...]
    least: float = 0.0
    zero: bool = False

    @property
    def drawn_columns(self) -> str:
        """The columns in the form the script reads."""
        return " ".join(f"{column}:{kind}" for column, kind in self.columns)


@dataclass(frozen=True, slots=True)
class Panel:
    """Readings over time under one heading."""

    code: str
    title: str
    columns: tuple[PanelColumn, ...]
    rows: tuple[PanelRow, ...]  # newest first
    plots: tuple[Plot, ...]
    basis: str = ""
    caution: str = ""
    empty_text: str = ""
    calculations: tuple[str, ...] = ()  # whose numbers it shows: their sources stand below

    @property
    def has_course(self) -> bool:
        """Whether there are enough rows to draw a chart."""
        return len(self.rows) >= MIN_DRAWN_ROWS

    @property
    def newest_rows(self) -> tuple[PanelRow, ...]:
        """The newest rows; the download has all of them."""
        return self.rows[:MAX_SHOWN_ROWS]

    @property
    def summary(self) -> str:
        """The answer to the first question, shown while the panel is folded."""
        return self.plots[0].answer if self.plots else ""

    def for_reader(self) -> "Panel":
        """Return the table and its charts in the units of the reader."""
        if reader_units() != SI:
            return self
        rows = tuple(replace(r, cells=tuple(map(_in_si, r.cells, self.columns))) for r in self.rows)
        plots = tuple(self._convert_plot(plot) for plot in self.plots)
        return replace(
            self, columns=tuple(PanelColumn(c.name, drawn_unit(c.unit)) for c in self.columns), rows=rows, plots=plots
        )

    def _convert_plot(self, plot: Plot) -> Plot:
        unit = self.columns[plot.columns[0][0]].unit
        span = drawn_value(plot.least, unit) - drawn_value(0.0, unit)
        return replace(plot, unit=plot.unit.replace(unit_text(unit), unit_text(drawn_unit(unit))), least=span)

    def as_csv(self, zone: str) -> str:
        """Return the table as CSV: oldest first, instants with offset, text that could be a formula marked as text."""
        out = io.StringIO(newline="")
        writer = csv.writer(out)
        writer.writerow(["at", "visit", "entry", *map(str, self.columns)])
        for row in reversed(self.rows):
            at = row.at.astimezone(ZoneInfo(zone)).isoformat(timespec="seconds")
            writer.writerow([at, row.visit, row.line, *(_csv_value(c) for c in row.cells)])
        return out.getvalue()


@dataclass(frozen=True, slots=True)
class CalculationAnswer:
    """The result of a calculation: its outputs, or why there is none."""

    outputs: Mapping[str, object] = field(default_factory=dict)
    refused: str = ""

    def number(self, name: str) -> float | None:
        """Return an output as a number; None without a result."""
        value = self.outputs.get(name)
        return value if isinstance(value, float) else None


def run_calculation(code: str, **inputs: object) -> CalculationAnswer:
    """Run a named calculation on readings. A refusal becomes the text of the answer; a reading not taken is None."""
    try:
        return CalculationAnswer(calculation_groups.answer_calculation(code, inputs).outputs)
    except Refused as refused:
        return CalculationAnswer(
            refused=" ".join(dict.fromkeys(_without_input_name(f.message) for f in refused.faults))
        )


def to_cell(value: float | None, digits: int = 3, unit: str = "") -> Cell:
    """Return a number as a cell, rounded so that it stays on its side of the unit's limit; a dash for None."""
    return Cell(NO_VALUE) if value is None else Cell(guard_figures(value, unit, digits), value, digits)


def to_row(measure: Measure, cells: Iterable[Cell]) -> PanelRow:
    """Return the table row of one measure."""
    return PanelRow(measure.at, measure.visit, measure.line, tuple(cells))


def newest_first(rows: Iterable[PanelRow]) -> tuple[PanelRow, ...]:
    """Return the rows in reverse order."""
    return tuple(reversed(list(rows)))


def without_empty_note(
    columns: tuple[PanelColumn, ...], rows: list[PanelRow]
) -> tuple[tuple[PanelColumn, ...], list[PanelRow]]:
    """Drop the last column if no row has a note."""
    if any(r.cells[-1].text != NO_VALUE for r in rows):
        return columns, rows
    return columns[:-1], [PanelRow(r.at, r.visit, r.line, r.cells[:-1]) for r in rows]


def _without_input_name(message: str) -> str:
    """Return a refusal without the name of the input before it: nobody typed an input here."""
    name, colon, rest = message.partition(": ")
    text = rest if colon and " " not in name else message
    return text[:1].upper() + text[1:]


def _csv_value(cell: Cell) -> str | float:
    if cell.value is not None:
        return cell.value
    return guard_formula("" if cell.text == NO_VALUE else cell.text)


def _in_si(cell: Cell, column: PanelColumn) -> Cell:
    if cell.value is None or drawn_unit(column.unit) == column.unit:
        return cell
    value = drawn_value(cell.value, column.unit)
    return replace(cell, text=guard_figures(value, drawn_unit(column.unit), cell.figures), value=value)
