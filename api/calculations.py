"""Endpoints of calculations: their inputs and outputs, and a result with formula, source and caution."""

import math
from typing import Any

from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.answers import problems
from api.strict import AnyField
from fleet.engineering import offered
from fleet.engineering.calculations import CALCULATIONS, Result
from fleet.engineering.table import form
from fleet.engineering.table.form import REQUIRED, Input
from fleet.errors import Refused

FLUE_GAS: dict[str, Any] = {"o2_percent": 6.2, "stack_f": 395, "room_f": 72, "fuel": "natural_gas"}
DANGEROUS_LADDER: dict[str, Any] = {"cut_in_psi": 1, "cut_out_psi": 4, "limit_psi": 15, "valve_psi": 15}
AIR_IN_THE_PROBE: dict[str, Any] = {"o2_percent": 20.9, "stack_f": 395, "room_f": 72}
REFUSED: dict[str, Any] = {
    "type": "about:blank",
    "title": "Unprocessable Entity",
    "status": 422,
    "code": "out_of_range",
    "detail": "o2_percent: 20.9 is not from 0 up to 18 %: over 18 % hardly any flue gas is in the sample, "
    "at 20.9 it is air.",
    "errors": [
        {
            "code": "out_of_range",
            "message": "o2_percent: 20.9 is not from 0 up to 18 %: over 18 % hardly any flue gas is in the sample, "
            "at 20.9 it is air.",
            "pointer": "/o2_percent",
        }
    ],
}
EXAMPLES = [
    OpenApiExample("flue_gas", value=FLUE_GAS, request_only=True),
    OpenApiExample("ladder: dangerous, and answered", value=DANGEROUS_LADDER, request_only=True),
    OpenApiExample("Refused: air in the probe", value=REFUSED, response_only=True, status_codes=["422"]),
]


class BoundsSerializer(serializers.Serializer[Any]):
    """The possible range of a number. A null bound is no bound. Dangerous values are possible and are answered."""

    low = serializers.FloatField(allow_null=True)
    low_included = serializers.BooleanField()
    high = serializers.FloatField(allow_null=True)
    high_included = serializers.BooleanField()
    words = serializers.CharField(help_text="The same as people write it.")


class InputSerializer(serializers.Serializer[Any]):
    """One input: a number in a range with its unit, or one of `choices`."""

    name = serializers.CharField()
    asks = serializers.CharField()
    unit = serializers.CharField()
    range = BoundsSerializer(allow_null=True)
    choices = serializers.ListField(child=serializers.CharField())
    required = serializers.BooleanField()
    usual = AnyField(allow_null=True, help_text="Taken where it is left out; null: it is then unknown.")
    many = serializers.BooleanField(help_text="A list of such.")
    gaps = serializers.BooleanField(help_text="Elements of the list may be null, unknown.")


class AnsweredSerializer(serializers.Serializer[Any]):
    """One output of a calculation."""

    name = serializers.CharField()
    says = serializers.CharField()
    unit = serializers.CharField()


class CalculationSerializer(serializers.Serializer[Any]):
    """A calculation with the texts that belong beside its result."""

    code = serializers.CharField()
    title = serializers.CharField()
    group = serializers.CharField()
    inputs = InputSerializer(many=True)
    outputs = AnsweredSerializer(many=True)
    formula = serializers.CharField()
    source = serializers.CharField()
    caution = serializers.CharField()


class CalculationsSerializer(serializers.Serializer[Any]):
    """All calculations."""

    calculations = CalculationSerializer(many=True)


class OutputSerializer(AnsweredSerializer):
    """One output with its value: a number, a word, a list of these, or null where it cannot be known."""

    value = AnyField(allow_null=True)


class ResultSerializer(serializers.Serializer[Any]):
    """The result of a calculation. `verdict` is null where it judges nothing. The worst reason comes first."""

    code = serializers.CharField()
    inputs = serializers.DictField(child=AnyField(allow_null=True), help_text="As used.")
    outputs = OutputSerializer(many=True)
    verdict = serializers.CharField(allow_null=True)
    reasons = serializers.ListField(child=serializers.CharField())
    formula = serializers.CharField()
    source = serializers.CharField()
    caution = serializers.CharField()


class Calculations(APIView):
    """The calculations offered."""

    @extend_schema(operation_id="listCalculations", responses={200: CalculationsSerializer, **problems(401)})
    def get(self, request: Request) -> Response:
        """Return every calculation with its inputs, their units and ranges, its formula, source and caution."""
        found = [described(c) for listed in offered.grouped().values() for c in listed]
        return Response(CalculationsSerializer({"calculations": found}).data)


def described(calculation: form.Calculation) -> dict[str, Any]:
    """Return one calculation as the list shows it."""
    return {
        "code": calculation.code,
        "title": calculation.title,
        "group": offered.GROUP_OF[calculation.code],
        "inputs": [_input(i) for i in calculation.inputs],
        "outputs": [{"name": o.name, "says": o.label, "unit": o.unit} for o in calculation.outputs],
        **_words(calculation),
    }


def _input(asked: Input) -> dict[str, Any]:
    return {
        "name": asked.name,
        "asks": asked.label,
        "unit": asked.unit,
        "range": None if asked.choices else _bounds(asked),
        "choices": list(asked.choices),
        "required": asked.default is REQUIRED,
        "usual": None if asked.default is REQUIRED else asked.default,
        "many": asked.many,
        "gaps": asked.gaps,
    }


def _bounds(asked: Input) -> dict[str, Any]:
    return {
        "low": _finite(asked.range.low),
        "low_included": asked.range.low_in,
        "high": _finite(asked.range.high),
        "high_included": asked.range.high_in,
        "words": asked.range.words(),
    }


def _finite(bound: float) -> float | None:
    return bound if math.isfinite(bound) else None


def _words(calculation: form.Calculation) -> dict[str, str]:
    return {"formula": calculation.formula, "source": calculation.source, "caution": calculation.caution}


def _schema(calculation: form.Calculation) -> dict[str, Any]:
    """Return the JSON Schema of one calculation's request body."""
    return {
        "type": "object",
        "title": calculation.code,
        "description": calculation.title,
        "properties": {i.name: _typed(i) for i in calculation.inputs},
        "required": [i.name for i in calculation.inputs if i.default is REQUIRED],
        "additionalProperties": False,
    }


def _typed(asked: Input) -> dict[str, Any]:
    unknown = ["null"] if asked.gaps or asked.default is None else []
    one: dict[str, Any] = {"type": ["string" if asked.choices else "number", *unknown]}
    if asked.choices:
        one["enum"] = [*asked.choices, *([None] if unknown else [])]
    one |= _bound("minimum", "exclusiveMinimum", asked.range.low, asked.range.low_in)
    one |= _bound("maximum", "exclusiveMaximum", asked.range.high, asked.range.high_in)
    told = " ".join(filter(None, (asked.label, f"in {asked.unit}" if asked.unit else "")))
    if asked.many:
        return {"type": "array", "items": one, "maxItems": offered.MOST_IN_A_LIST, "description": told}
    return {**one, "description": told}


def _bound(open_to: str, shut: str, edge: float, included: bool) -> dict[str, float]:
    return {open_to if included else shut: edge} if math.isfinite(edge) else {}


BODIES = {"application/json": {"anyOf": [_schema(CALCULATIONS[code]) for code in offered.GROUP_OF]}}
CODE = OpenApiParameter("code", str, OpenApiParameter.PATH, enum=list(offered.GROUP_OF))


class Calculation(APIView):
    """One calculation."""

    @extend_schema(
        operation_id="calculate",
        parameters=[CODE],
        request=BODIES,
        responses={200: ResultSerializer, **problems(400, 401, 404, 422)},
        examples=EXAMPLES,
    )
    def post(self, request: Request, code: str) -> Response:
        """Return the result for these inputs, by name. Impossible inputs are refused; dangerous ones are answered.

        Nothing is stored, so no `Idempotency-Key` is needed.
        """
        if not isinstance(request.data, dict):
            raise Refused("not_an_object", "Send the inputs by name, as one object.")
        return Response(ResultSerializer(_result(_answer(code, request.data))).data)


def _answer(code: str, inputs: dict[str, Any]) -> Result:
    """Return the result. Raises Refused; faults of the inputs have status 422, since the body itself is well formed."""
    try:
        return offered.answer(code, inputs)
    except Refused as refused:
        raise Refused.all(refused.faults, status=422 if refused.status == 400 else refused.status) from None


def _result(result: Result) -> dict[str, Any]:
    calculation, outputs = result.calculation, result.outputs
    told = [{"name": o.name, "says": o.label, "unit": o.unit, "value": outputs[o.name]} for o in calculation.outputs]
    return {
        "code": calculation.code,
        "inputs": result.inputs,
        "outputs": told,
        "verdict": outputs.get("verdict"),
        "reasons": outputs.get("reasons") or [],
        **_words(calculation),
    }
