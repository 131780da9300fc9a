"""A chart as values: the question it answers, its rows and numbers, and its table as CSV."""

import csv
import io
from dataclasses import dataclass

from fleet.sheets.table_output import guard_formula


@dataclass(frozen=True, slots=True)
class Figure:
    """One number of a row: as text, and as a value to draw (None: not known)."""

    text: str
    value: float | None


@dataclass(frozen=True, slots=True)
class ChartLine:
    """One row of a table: its label, the same as a key for programs, and its numbers."""

    label: str
    key: str
    figures: tuple[Figure, ...]


@dataclass(frozen=True, slots=True)
class Chart:
    """A question, its answer in words, and the table.

    `inks` say how each column is drawn; "" means in the table only, "low" and "high" the ends of a line across the bar.
    """

    code: str
    question: str
    answer: str
    row_heading: str  # heading of the first column: what a row is
    columns: tuple[str, ...]
    inks: tuple[str, ...]
    lines: tuple[ChartLine, ...]
    unit: str
    empty_text: str
    stacked: bool = True
    horizontal: bool = False
    newest_first: bool = False
    drawn_rows: int = 0  # how many of the first rows are drawn; 0: all

    @property
    def heads(self) -> list[tuple[str, str]]:
        """Each column's title and ink."""
        return list(zip(self.columns, self.inks, strict=True))

    @property
    def empty(self) -> bool:
        """Whether there is nothing to draw."""
        return not any(f.value for line in self.lines for f in line.figures)

    @property
    def bare(self) -> bool:
        """Whether the table has values but no drawn column has one; then no chart is drawn."""
        return not any(
            f.value is not None for n in self.lines for f, ink in zip(n.figures, self.inks, strict=True) if ink
        )

    def as_csv(self) -> str:
        """Return the table as CSV: oldest first, days as ISO 8601, text that could be a formula marked as text."""
        out = io.StringIO(newline="")
        writer = csv.writer(out)
        writer.writerow([self.row_heading.lower(), *self.columns])
        for line in reversed(self.lines) if self.newest_first else self.lines:
            writer.writerow([guard_formula(line.key), *("" if f.value is None else f.value for f in line.figures)])
        return out.getvalue()
