"""The calculator: one calculation at a time, with its fields and its result, formula, source and caution.

The inputs are in the address, so that a result can be bookmarked, sent and repeated. No script is needed.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from math import isfinite
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from fleet.engineering import offered
from fleet.engineering.calculations import CALCULATIONS, Result
from fleet.engineering.table.form import REQUIRED, Calculation, Input
from fleet.errors import Fault
from fleet.web import asked
from fleet.web.figures import Shown, figures, in_both, number, shown
from fleet.web.pages import page
from fleet.web.templatetags.numbers import spoken

SPELLED = ("verdict", "reasons")  # outputs shown at the head of the result, not in its list


@dataclass(frozen=True, slots=True)
class Field:
    """One input of a calculation as a form field, with what was typed and what is wrong with it."""

    name: str
    label: str
    unit: str
    hint: str
    choices: tuple[str, ...]
    many: bool
    required: bool
    text: str
    faults: tuple[str, ...]


@page
def choose(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show all calculations in their groups."""
    return render(request, "calculator.html", {"groups": offered.grouped(), "here": "calculator"})


@page
def show(request: HttpRequest, at: datetime, code: str) -> HttpResponse:
    """Show one calculation; with its result if inputs were sent."""
    if code not in CALCULATIONS:
        raise Http404
    calculation = CALCULATIONS[code]
    values, unread = asked.read(calculation, request.GET)
    result, faults = asked.judged(calculation, values, unread) if request.GET else (None, [])
    context = {
        "calculation": calculation,
        "group": offered.GROUP_OF[code],
        "others": offered.grouped()[offered.GROUP_OF[code]],
        "fields": [_field(i, request.GET.get(i.name), faults) for i in calculation.inputs],
        "faults": faults,
        "elsewhere": _elsewhere(calculation, faults),
        "result": result and _answer(result),
        "here": "calculator",
    }
    return render(request, "calculator_one.html", context)


def _field(asked_for: Input, text: str | None, faults: Iterable[Fault]) -> Field:
    name = asked_for.name
    return Field(
        name=name,
        label=asked_for.label,
        unit=asked_for.unit,
        hint=_hint(asked_for),
        choices=asked_for.choices,
        many=asked_for.many,
        required=asked_for.default is REQUIRED,
        text=_usual(asked_for) if text is None else text,
        faults=tuple(_said(f, asked_for) for f in faults if f.at[:1] == (name,)),
    )


def _usual(asked_for: Input) -> str:
    if asked_for.default is REQUIRED or asked_for.default is None:
        return ""
    return asked_for.default if asked_for.choices else f"{asked_for.default:.10g}"


def _hint(asked_for: Input) -> str:
    """Return the accepted range in the field's unit and in SI, and how to write a list."""
    if asked_for.choices:
        return ""
    told = [_range(asked_for) + _si_range(asked_for)]
    if asked_for.default is None:
        told.append("Leave empty where unknown")
    if asked_for.many:
        told.append("One after the other, apart by spaces" + (", ? for an unknown one" if asked_for.gaps else ""))
    return ". ".join(told) + "."


def _range(asked_for: Input) -> str:
    known = asked_for.range
    low = f"{'From' if known.low_in else 'Over'} {figures(known.low)}" if isfinite(known.low) else ""
    high = f"{'up to' if known.high_in else 'under'} {figures(known.high)}" if isfinite(known.high) else ""
    return f"{' '.join(filter(None, (low, high))) or 'Any number'} {known.unit}".rstrip()


def _si_range(asked_for: Input) -> str:
    ends = [in_both(end, asked_for.unit) for end in (asked_for.range.low, asked_for.range.high) if abs(end) < 1e30]
    if not ends or not all(e.si for e in ends):
        return ""
    return f" ({' to '.join(e.si for e in ends)} {ends[0].si_unit})"


def _said(fault: Fault, asked_for: Input) -> str:
    """Return a fault in the field's own words: with its label instead of its code, and which number of a list."""
    told = fault.message.removeprefix(f"{asked_for.name}: ").replace(f"{asked_for.label}: ", "")
    which = f"Number {int(fault.at[1]) + 1}: " if len(fault.at) > 1 else ""
    told = which + told.replace(f"{asked_for.label} is needed.", "this is needed.")
    return told[:1].upper() + told[1:]


def _elsewhere(calculation: Calculation, faults: Iterable[Fault]) -> list[str]:
    """Return the messages of faults that belong to no field."""
    names = {i.name for i in calculation.inputs}
    return [f.message for f in faults if not f.at or f.at[0] not in names]


def _answer(result: Result) -> dict[str, Any]:
    outputs, calculation = result.outputs, result.calculation
    labels = {i.name: i.label for i in calculation.inputs}
    told = [(o.label, _said_of(outputs[o.name], o.unit, labels)) for o in calculation.outputs if o.name not in SPELLED]
    used = [(i.label, _said_of(result.inputs[i.name], i.unit, {})) for i in calculation.inputs]
    return {"verdict": outputs.get("verdict"), "reasons": outputs.get("reasons"), "outputs": told, "inputs": used}


def _said_of(value: Any, unit: str, labels: dict[str, str]) -> list[Shown]:
    """Return one value, or each value of a list, for display. A value that names an input is shown as its label."""
    return [_one(v, unit, labels) for v in (value if isinstance(value, list) else [value])]


def _one(value: Any, unit: str, labels: dict[str, str]) -> Shown:
    if value is None:
        return Shown("not known", "")
    return shown(value, unit) if number(value) else Shown(labels.get(value) or spoken(value) or "\u2013", "")
