"""Reads golden_outputs.yaml: what every output of every offered calculation must be, with its unit."""

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import yaml

FILE = Path(__file__).with_name("golden_outputs.yaml")


@dataclass(frozen=True, slots=True)
class GoldenOutput:
    """One expected output; `unit` '' for a word or a bare number, `within` in that unit."""

    value: Any
    unit: str = ""
    within: float = 0.0


@dataclass(frozen=True, slots=True)
class GoldenRow:
    """One run of a calculation: its inputs, all its outputs, and where the values are from."""

    calculation: str
    inputs: dict[str, Any]
    source: str
    outputs: dict[str, GoldenOutput]


@cache
def golden_rows() -> tuple[GoldenRow, ...]:
    """Return the rows of the file, in its order."""
    return tuple(
        GoldenRow(
            row["calculation"],
            row["inputs"],
            row["source"],
            {name: GoldenOutput(*output) for name, output in row["outputs"].items()},
        )
        for row in yaml.safe_load(FILE.read_text(encoding="utf-8"))
    )
