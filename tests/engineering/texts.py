"""Every word the calculator shows and every bound it refuses by, as one text: `python -m tests.engineering.texts`.

The text is approved in approved_texts.txt. Read the difference after an intended change.
"""

from collections.abc import Iterator
from importlib import import_module
from inspect import getmembers
from pathlib import Path
from pkgutil import iter_modules

import fleet.engineering
from fleet.engineering.calculation_groups import calculations_by_group
from fleet.engineering.checks import Range
from fleet.engineering.table.definitions import REQUIRED, CalculationSpec

APPROVED = Path(__file__).with_name("approved_texts.txt")


def shown_texts() -> str:
    """Return the calculations with all their words, then the ranges of every module."""
    return "\n".join([*_calculation_lines(), "", *_range_lines(), ""])


def _calculation_lines() -> Iterator[str]:
    for group, calculations in calculations_by_group().items():
        yield f"# {group}"
        for calculation in calculations:
            yield from _lines_of(calculation)


def _lines_of(calculation: CalculationSpec) -> Iterator[str]:
    yield f"{calculation.code}: {calculation.title}"
    for spec in calculation.inputs:
        bounds = ", ".join(spec.choices) or f"{spec.range.as_words()}: {spec.range.why}"
        usual = "required" if spec.default is REQUIRED else f"usual {spec.default}: {spec.assumed}"
        yield f"  in {spec.name}: {spec.label} [{spec.unit}] {bounds}; {usual}; many {spec.many}, gaps {spec.gaps}"
    for output in calculation.outputs:
        yield f"  out {output.name}: {output.label} [{output.unit}]"
    yield f"  formula: {calculation.formula}"
    yield f"  source: {calculation.source}"
    yield f"  caution: {calculation.caution}"


def _range_lines() -> Iterator[str]:
    yield "# Ranges"
    for module in sorted(m.name for m in iter_modules(fleet.engineering.__path__) if not m.ispkg):
        for name, value in getmembers(import_module(f"fleet.engineering.{module}")):
            if isinstance(value, Range):
                yield f"{module}.{name}: {value.as_words()}: {value.why}"


if __name__ == "__main__":
    APPROVED.write_text(shown_texts(), encoding="utf-8")
