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

from fleet.engineering import calculation_groups
from fleet.engineering.calculations import CALCULATIONS, CalculationResult
from fleet.engineering.table.definitions import REQUIRED, CalculationSpec, InputSpec
from fleet.errors import Fault
from fleet.web.calculator import calculator_inputs
from fleet.web.shared.number_format import DisplayedValue, in_both_units, in_reader_units, is_number, to_figures
from fleet.web.shared.pages import signed_in_page
from fleet.web.templatetags.numbers import spoken

HEADING_OUTPUTS = ("verdict", "reasons")  # outputs shown at the head of the result, not in its list


@dataclass(frozen=True, slots=True)
class InputField:
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

    @property
    def described_by(self) -> str:
        """The ids of the hint and, if there are faults, of the faults, for `aria-describedby`."""
        return f"{self.name}-hint {self.name}-fault" if self.faults else f"{self.name}-hint"


@signed_in_page
def show_calculations(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show all calculations in their groups."""
    return render(
        request,
        "calculator/calculator.html",
        {"groups": calculation_groups.calculations_by_group(), "here": "calculator"},
    )


@signed_in_page
def show_calculation(request: HttpRequest, at: datetime, code: str) -> HttpResponse:
    """Show one calculation; with its result if inputs were sent."""
    if code not in CALCULATIONS:
        raise Http404
    calculation = CALCULATIONS[code]
    values, unread = calculator_inputs.read_inputs(calculation, request.GET)
    result, faults = calculator_inputs.compute_result(calculation, values, unread) if request.GET else (None, [])
    context = {
        "calculation": calculation,
        "group": calculation_groups.GROUP_OF[code],
        "others": calculation_groups.calculations_by_group()[calculation_groups.GROUP_OF[code]],
        "fields": [_build_field(i, request.GET.get(i.name), faults) for i in calculation.inputs],
        "faults": faults,
        "elsewhere": _unplaced_faults(calculation, faults),
        "result": result and _result_context(result),
        "here": "calculator",
    }
    return render(request, "calculator/calculation.html", context)


def _build_field(calc_input: InputSpec, text: str | None, faults: Iterable[Fault]) -> InputField:
    name = calc_input.name
    return InputField(
        name=name,
        label=calc_input.label,
        unit=calc_input.unit,
        hint=_field_hint(calc_input),
        choices=calc_input.choices,
        many=calc_input.many,
        required=calc_input.default is REQUIRED,
        text=_default_text(calc_input) if text is None else text,
        faults=tuple(_fault_text(f, calc_input) for f in faults if f.at[:1] == (name,)),
    )


def _default_text(calc_input: InputSpec) -> str:
    if calc_input.default is REQUIRED or calc_input.default is None:
        return ""
    return calc_input.default if calc_input.choices else f"{calc_input.default:.10g}"


def _field_hint(calc_input: InputSpec) -> str:
    """Return the accepted range in the field's unit and in SI, and how to write a list."""
    if calc_input.choices:
        return ""
    hint_parts = [_range_text(calc_input) + _si_range_text(calc_input)]
    if calc_input.default is None:
        hint_parts.append("Leave empty where unknown")
    if calc_input.many:
        hint_parts.append("Separate several with spaces" + (", with ? for an unknown one" if calc_input.gaps else ""))
    return ". ".join(hint_parts) + "."


def _range_text(calc_input: InputSpec) -> str:
    bounds = calc_input.range
    low = f"{'From' if bounds.low_in else 'Over'} {to_figures(bounds.low)}" if isfinite(bounds.low) else ""
    high = f"{'up to' if bounds.high_in else 'under'} {to_figures(bounds.high)}" if isfinite(bounds.high) else ""
    return f"{' '.join(filter(None, (low, high))) or 'Any number'} {bounds.unit}".rstrip()


def _si_range_text(calc_input: InputSpec) -> str:
    ends = [
        in_both_units(end, calc_input.unit) for end in (calc_input.range.low, calc_input.range.high) if abs(end) < 1e30
    ]
    if not ends or not all(e.si for e in ends):
        return ""
    return f" ({' to '.join(e.si for e in ends)} {ends[0].si_unit})"


def _fault_text(fault: Fault, calc_input: InputSpec) -> str:
    """Return a fault in the field's own words: with its label instead of its code, and which number of a list."""
    text = fault.message.removeprefix(f"{calc_input.name}: ").replace(f"{calc_input.label}: ", "")
    number_text = f"Number {int(fault.at[1]) + 1}: " if len(fault.at) > 1 else ""
    text = number_text + text.replace(f"{calc_input.label} is needed.", "this is needed.")
    return text[:1].upper() + text[1:]


def _unplaced_faults(calculation: CalculationSpec, faults: Iterable[Fault]) -> list[str]:
    """Return the messages of faults that belong to no field."""
    names = {i.name for i in calculation.inputs}
    return [f.message for f in faults if not f.at or f.at[0] not in names]


def _result_context(result: CalculationResult) -> dict[str, object]:
    outputs, calculation = result.outputs, result.calculation
    labels = {i.name: i.label for i in calculation.inputs}
    output_pairs = [
        (o.label, _displayed_values(outputs[o.name], o.unit, labels))
        for o in calculation.outputs
        if o.name not in HEADING_OUTPUTS
    ]
    input_pairs = [(i.label, _displayed_values(result.inputs[i.name], i.unit, {})) for i in calculation.inputs]
    return {
        "verdict": outputs.get("verdict"),
        "reasons": outputs.get("reasons"),
        "outputs": output_pairs,
        "inputs": input_pairs,
        "assumptions": result.assumptions,
    }


def _displayed_values(value: object, unit: str, labels: dict[str, str]) -> list[DisplayedValue]:
    """Return one value, or each value of a list, for display. A value that names an input is shown as its label."""
    return [_displayed_value(v, unit, labels) for v in (value if isinstance(value, list) else [value])]


def _displayed_value(value: Any, unit: str, labels: dict[str, str]) -> DisplayedValue:
    if value is None:
        return DisplayedValue("not known", "")
    return (
        in_reader_units(value, unit)
        if is_number(value)
        else DisplayedValue(labels.get(value) or spoken(value) or "\u2013", "")
    )
