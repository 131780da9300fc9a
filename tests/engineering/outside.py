"""Holds our numbers against numbers from outside, and keeps count of what was compared and how far apart it lay.

`published`: printed somewhere, the source named (S numbers: published values). `library`: computed by an independent
library over a range. The closing lines of the run, and `python -m tests.engineering.report`, are made from these.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from typing import Any

import numpy as np
import pint


class LateLibrary:
    """A library that takes a second to import: the first test that asks it something imports it."""

    def __init__(self, name: str) -> None:
        self._name = name

    def __getattr__(self, name: str) -> Any:
        if name.startswith("_"):  # pytest looks for marks of mocks and fixtures on whatever a test module holds
            raise AttributeError(name)
        return getattr(import_module(self._name), name)


@cache
def load_unit_registry() -> pint.UnitRegistry:
    """Return pint's own units, made once for all files."""
    return pint.UnitRegistry(cache_folder=None)


def make_quantity(value: Any, unit: str = "") -> pint.Quantity:
    """Return a value with its unit."""
    return load_unit_registry().Quantity(value, unit)


@dataclass(frozen=True, slots=True)
class Met:
    """One comparison, or one sweep of `count` of them with its worst error."""

    module: str
    kind: str
    source: str
    what: str
    got: Any
    expected: Any
    error: float
    allowed: float
    count: int = 1

    @property
    def kept(self) -> bool:
        return self.error <= self.allowed

    @property
    def share(self) -> float:
        """The error as a share of what is allowed."""
        return self.error / self.allowed if self.allowed else 0.0 if self.kept else float("inf")


MET: list[Met] = []
SAID: list[str] = []  # lines for the end of the run that are no comparison, such as a speed


def met(
    module: str, source: str, what: str, got: float, expected: float, *, rel: float = 0.0, within: float = 0.0
) -> None:
    """Hold one number against a printed one, relatively or in its own unit."""
    error, allowed = abs(float(got) - expected), max(within, rel * abs(expected))
    _keep(Met(module, "published", source, what, float(got), expected, error, allowed * (1 + 1e-9)))


def said(module: str, source: str, what: str, got: object, expected: object) -> None:
    """Hold a verdict or a count against a printed one."""
    _keep(Met(module, "published", source, what, got, expected, 0.0 if got == expected else 1.0, 0.0))


def swept(
    module: str, library: str, what: str, got: Any, expected: Any, *, rel: float = 0.0, within: float = 0.0
) -> None:
    """Hold a whole range against an independent library; the worst point counts, every point is counted."""
    ours, theirs = np.asarray(got, float).ravel(), np.asarray(expected, float).ravel()
    assert ours.shape == theirs.shape
    assert np.isfinite(theirs).all()
    errors, allowed = np.abs(ours - theirs), np.maximum(within, rel * np.abs(theirs))
    worst = int(np.argmax(errors / allowed))
    point = (float(ours[worst]), float(theirs[worst]), float(errors[worst]), float(allowed[worst]))
    _keep(Met(module, "library", library, what, *point, count=len(ours)))


def _keep(found: Met) -> None:
    MET.append(found)
    assert found.kept, f"{found.module}, {found.what} ({found.source}): {found.got}, expected {found.expected}"


def table() -> Iterator[str]:
    """Yield the closing lines: per module the counts, the worst relative error and the worst share of its allowance."""
    yield f"{'module':<11} {'published':>9} {'library':>8}  worst error"
    for module in sorted({one.module for one in MET}):
        of_it = [one for one in MET if one.module == module]
        yield f"{module:<11} {_count(of_it, 'published'):>9} {_count(of_it, 'library'):>8}  {_worst(of_it)}"
    broken = sum(not one.kept for one in MET)
    yield f"{'all':<11} {_count(MET, 'published'):>9} {_count(MET, 'library'):>8}  {broken} not met"
    yield from SAID


def _count(of_it: list[Met], kind: str) -> int:
    return sum(one.count for one in of_it if one.kind == kind and one.kept)


def _worst(of_it: list[Met]) -> str:
    worst = max(of_it, key=lambda one: one.share)
    if not isinstance(worst.expected, float | int) or isinstance(worst.expected, bool) or not worst.share:
        return "none"
    relative = f" ({worst.error / abs(worst.expected):.2g} of it)" if worst.expected else ""
    return (
        f"{worst.error:.3g}{relative}, allowed {worst.allowed:.3g}: {worst.what}, "
        f"{worst.got:.8g} against {worst.expected:.8g}, {worst.source}"
    )
