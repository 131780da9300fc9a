"""What was read, set and compared in an entry of a visit, as one list."""

from collections.abc import Iterable, Mapping

from django import template

from fleet.assessments.queries import EntryLine
from fleet.assessments.reading_names import reading_name
from fleet.web.templatetags.numbers import as_read
from fleet.web.templatetags.registered import called, valued

register = template.Library()


@register.filter
def all_details(line: EntryLine) -> str:
    """Return all readings and values, the limit and what it was compared with: "trip: 7.5 psi; limit: 15 psi"."""
    limit = f"limit: {line.verdict.limit}" if line.verdict and line.verdict.limit else ""
    return _joined([*_readings(line.readings), *_values(line.entry.values), limit, _compared(line)])


@register.filter
def main_details(line: EntryLine) -> str:
    """Return the readings that have a unit, the values and what it was compared with."""
    return _joined([*_readings(line.measured), *_values(line.entry.values), _compared(line)])


def _readings(readings: Iterable[tuple[str, str, str]]) -> Iterable[str]:
    return (f"{reading_name(name)}: {as_read(value, unit)}" for name, value, unit in readings)


def _values(values: Mapping[str, object]) -> Iterable[str]:
    return (f"{called(key).lower()}: {valued(value, key)}" for key, value in values.items())


def _compared(line: EntryLine) -> str:
    return f"compared with {line.compared}" if line.compared else ""


def _joined(parts: Iterable[str]) -> str:
    return "; ".join(filter(None, parts))
