"""Reads what was typed into a calculator's fields: numbers as people write them, optionally with a unit, or faults."""

import re
from collections.abc import Mapping
from typing import Any

from django.http import QueryDict

from fleet.engineering import calculation_groups
from fleet.engineering.table.definitions import CalculationSpec, InputSpec
from fleet.engineering.units import UNITS, convert
from fleet.errors import Fault, Refused

_NUMBER_PATTERN = re.compile(
    r"([+-]?(?:\d{1,3}(?:,\d{3})+|\d+)?(?:\.\d*)?(?:[eE][+-]?\d{1,3})?)\s*(.*)", re.ASCII | re.DOTALL
)
_SEPARATOR_PATTERN = re.compile(r"[;\s]+|,\s+")
UNKNOWN_MARKS = ("-", "?")
MAX_TEXT_LENGTH = 8000

InputValues = dict[str, object]


def read_inputs(calculation: CalculationSpec, query: QueryDict) -> tuple[InputValues, list[Fault]]:
    """Return the inputs by name, in the calculation's units, and the faults of what could not be read.

    An empty field gives no input.
    """
    inputs_by_name = {i.name: i for i in calculation.inputs}
    values: InputValues = {}
    faults = []
    for name in query:
        texts, calc_input = query.getlist(name), inputs_by_name.get(name)
        if calc_input is None:
            faults.append(Fault("unknown_input", f"{name}: this is not an input of this calculation.", (name,)))
        elif len(texts) > 1:
            faults.append(Fault("given_twice", f"{calc_input.label}: enter this only once.", (name,)))
        elif texts[0].strip():
            try:
                values[name] = _parse_value(calc_input, texts[0].strip())
            except Refused as refused:
                faults += [Fault(f.code, f.message, (name,)) for f in refused.faults]
    return values, faults


def compute_result(
    calculation: CalculationSpec, values: Mapping[str, object], faults: list[Fault]
) -> tuple[Any, list[Fault]]:
    """Return the result and no faults, or None and every fault.

    Faults of reading come first; faults of the calculation follow for the fields that could be read.
    """
    try:
        result = calculation_groups.answer_calculation(calculation.code, values)
    except Refused as refused:
        unread_paths = {f.at for f in faults}
        return None, faults + [f for f in refused.faults if f.at not in unread_paths]
    return (None, faults) if faults else (result, [])


def _parse_value(calc_input: InputSpec, text: str) -> object:
    if calc_input.choices:
        return text
    if len(text) > MAX_TEXT_LENGTH:
        raise Refused("too_long", f"{calc_input.label}: this is too long.")
    if not calc_input.many:
        return _parse_number(calc_input, text)
    return [
        None if calc_input.gaps and part in UNKNOWN_MARKS else _parse_list_number(calc_input, part)
        for part in _SEPARATOR_PATTERN.split(text)
        if part
    ]


def _parse_list_number(calc_input: InputSpec, text: str) -> float:
    """Return one number of a list. A comma without a space may part two numbers or thousands: nobody can tell."""
    if "," in text:
        raise Refused("doubtful_comma", f"{calc_input.label}: {_comma_readings(text[:40])}")
    return _parse_number(calc_input, text)


def _comma_readings(text: str) -> str:
    """Return the sentence that says how else to write what a comma leaves in doubt."""
    numbers = [part for part in text.split(",") if part]
    if len(numbers) < 2:
        return f"“{text}” has a comma that parts nothing."
    one_number, many_numbers = "".join(numbers), " ".join(numbers)
    if not one_number.replace(".", "").isdigit():
        return f"“{text}” has a comma between values. Write {many_numbers}."
    return (
        f"“{text}” may be one number, {one_number}, or {len(numbers)} numbers, {' and '.join(numbers)}. "
        f"Write {one_number} or {many_numbers}."
    )


def _parse_number(calc_input: InputSpec, text: str) -> float:
    match = _NUMBER_PATTERN.fullmatch(text)
    if match is None or not re.search(r"\d", match[1]):
        raise Refused("not_a_number", f"{calc_input.label}: “{text[:40]}” is not a number.")
    try:
        number = float(match[1].replace(",", ""))
    except ValueError:
        raise Refused("not_a_number", f"{calc_input.label}: “{text[:40]}” is not a number.") from None
    unit = match[2].strip()
    if not unit or unit == calc_input.unit:
        return number
    if unit not in UNITS:
        raise Refused(
            "not_a_number", f"{calc_input.label}: “{text[:40]}” is not a number, or its unit is not known here."
        )
    return float(convert(number, unit, calc_input.unit))
