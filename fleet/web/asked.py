"""Reads what was typed into a calculator's fields: numbers as people write them, optionally with a unit, or faults."""

import re
from collections.abc import Mapping
from typing import Any

from django.http import QueryDict

from fleet.engineering import offered
from fleet.engineering.table.form import Calculation, Input
from fleet.engineering.units import UNITS, convert
from fleet.errors import Fault, Refused

_NUMBER = re.compile(r"([+-]?(?:\d{1,3}(?:,\d{3})+|\d+)?(?:\.\d*)?(?:[eE][+-]?\d{1,3})?)\s*(.*)", re.ASCII | re.DOTALL)
_APART = re.compile(r"[;\s]+|,\s+")
UNKNOWN = ("-", "?")
LONGEST = 8000

Values = dict[str, Any]


def read(calculation: Calculation, query: QueryDict) -> tuple[Values, list[Fault]]:
    """Return the inputs by name, in the calculation's units, and the faults of what could not be read.

    An empty field gives no input.
    """
    known = {i.name: i for i in calculation.inputs}
    values: Values = {}
    faults = []
    for name in query:
        texts, asked = query.getlist(name), known.get(name)
        if asked is None:
            faults.append(Fault("unknown_input", f"{name}: this calculation does not ask for it.", (name,)))
        elif len(texts) > 1:
            faults.append(Fault("given_twice", f"{asked.label}: give this once.", (name,)))
        elif texts[0].strip():
            try:
                values[name] = _value(asked, texts[0].strip())
            except Refused as refused:
                faults += [Fault(f.code, f.message, (name,)) for f in refused.faults]
    return values, faults


def judged(calculation: Calculation, values: Mapping[str, Any], faults: list[Fault]) -> tuple[Any, list[Fault]]:
    """Return the result and no faults, or None and every fault.

    Faults of reading come first; faults of the calculation follow for the fields that could be read.
    """
    try:
        result = offered.answer(calculation.code, values)
    except Refused as refused:
        unread = {f.at for f in faults}
        return None, faults + [f for f in refused.faults if f.at not in unread]
    return (None, faults) if faults else (result, [])


def _value(asked: Input, text: str) -> Any:
    if asked.choices:
        return text
    if len(text) > LONGEST:
        raise Refused("too_long", f"{asked.label}: this is too long to be read.")
    if not asked.many:
        return _number(asked, text)
    return [None if asked.gaps and part in UNKNOWN else _number(asked, part) for part in _APART.split(text) if part]


def _number(asked: Input, text: str) -> float:
    found = _NUMBER.fullmatch(text)
    if found is None or not re.search(r"\d", found[1]):
        raise Refused("not_a_number", f"{asked.label}: “{text[:40]}” is not a number.")
    try:
        number = float(found[1].replace(",", ""))
    except ValueError:
        raise Refused("not_a_number", f"{asked.label}: “{text[:40]}” is not a number.") from None
    unit = found[2].strip()
    if not unit or unit == asked.unit:
        return number
    if unit not in UNITS:
        raise Refused("not_a_number", f"{asked.label}: “{text[:40]}” is no number, nor one in a unit known here.")
    return float(convert(number, unit, asked.unit))
