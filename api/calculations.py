"""Endpoints of calculations: their inputs and outputs, and a result with formula, source and caution."""

import math

from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.answers import problem_responses
from api.http.schema_types import SchemaObject
from api.http.strict import UNSTORABLE, AnyField
from fleet.engineering import calculation_groups
from fleet.engineering.calculations import CALCULATIONS, CalculationResult
from fleet.engineering.table import definitions
from fleet.engineering.table.definitions import REQUIRED, InputSpec
from fleet.errors import Fault, Refused

FLUE_GAS: dict[str, object] = {"o2_percent": 6.2, "stack_f": 395, "room_f": 72, "fuel": "natural_gas"}
DANGEROUS_LADDER: dict[str, object] = {"cut_in_psi": 1, "cut_out_psi": 4, "limit_psi": 15, "valve_psi": 15}
REFUSED: dict[str, object] = {
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


class BoundsSerializer(serializers.Serializer[object]):
    """The possible range of a number. A null bound is no bound. Dangerous values are possible and are answered."""

    low = serializers.FloatField(allow_null=True)
    low_included = serializers.BooleanField()
    high = serializers.FloatField(allow_null=True)
    high_included = serializers.BooleanField()
    words = serializers.CharField(help_text="The same as people write it.")


class InputSerializer(serializers.Serializer[object]):
    """One input: a number in a range with its unit, or one of `choices`."""

    name = serializers.CharField()
    asks = serializers.CharField()
    unit = serializers.CharField()
    range = BoundsSerializer(allow_null=True)
    choices = serializers.ListField(child=serializers.CharField())
    required = serializers.BooleanField()  # type: ignore[assignment]
    usual = AnyField(allow_null=True, help_text="Used if it is left out. Null means unknown.")
    assumed = serializers.CharField(help_text="What its usual value takes for granted. Empty where it is required.")
    many = serializers.BooleanField(help_text="A list of these.")  # type: ignore[assignment]
    gaps = serializers.BooleanField(help_text="Elements of the list may be null, unknown.")


class AnsweredSerializer(serializers.Serializer[object]):
    """One output of a calculation."""

    name = serializers.CharField()
    says = serializers.CharField()
    unit = serializers.CharField()


class CalculationSerializer(serializers.Serializer[object]):
    """A calculation with the texts that belong beside its result."""

    code = serializers.CharField()
    title = serializers.CharField()
    group = serializers.CharField()
    inputs = InputSerializer(many=True)
    outputs = AnsweredSerializer(many=True)
    formula = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment]
    caution = serializers.CharField()


class CalculationsSerializer(serializers.Serializer[object]):
    """All calculations."""

    calculations = CalculationSerializer(many=True)


class OutputSerializer(AnsweredSerializer):
    """One output with its value: a number, a word, a list of these, or null where it cannot be known."""

    value = AnyField(allow_null=True)


class ResultSerializer(serializers.Serializer[object]):
    """The result of a calculation. `verdict` is null where it judges nothing. The worst reason comes first."""

    code = serializers.CharField()
    inputs = serializers.DictField(child=AnyField(allow_null=True), help_text="As used.")
    outputs = OutputSerializer(many=True)
    verdict = serializers.CharField(allow_null=True)
    reasons = serializers.ListField(child=serializers.CharField())
    assumptions = serializers.ListField(
        child=serializers.CharField(), help_text="What the answer takes for granted, input by input that is as usual."
    )
    formula = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment]
    caution = serializers.CharField()


class CalculationListEndpoint(APIView):
    """The calculations offered."""

    @extend_schema(operation_id="listCalculations", responses={200: CalculationsSerializer, **problem_responses(401)})
    def get(self, request: Request) -> Response:
        """Return every calculation with its inputs, their units and ranges, its formula, source and caution."""
        descriptions = [
            describe_calculation(c) for group in calculation_groups.calculations_by_group().values() for c in group
        ]
        return Response(CalculationsSerializer({"calculations": descriptions}).data)


def describe_calculation(calculation: definitions.CalculationSpec) -> dict[str, object]:
    """Return one calculation as the list shows it."""
    return {
        "code": calculation.code,
        "title": calculation.title,
        "group": calculation_groups.GROUP_OF[calculation.code],
        "inputs": [_describe_input(i) for i in calculation.inputs],
        "outputs": [{"name": o.name, "says": o.label, "unit": o.unit} for o in calculation.outputs],
        **_calculation_texts(calculation),
    }


def _describe_input(input_spec: InputSpec) -> dict[str, object]:
    return {
        "name": input_spec.name,
        "asks": input_spec.label,
        "unit": input_spec.unit,
        "range": None if input_spec.choices else _describe_bounds(input_spec),
        "choices": list(input_spec.choices),
        "required": input_spec.default is REQUIRED,
        "usual": None if input_spec.default is REQUIRED else input_spec.default,
        "assumed": input_spec.assumed,
        "many": input_spec.many,
        "gaps": input_spec.gaps,
    }


def _describe_bounds(input_spec: InputSpec) -> dict[str, object]:
    return {
        "low": _finite_or_none(input_spec.range.low),
        "low_included": input_spec.range.low_in,
        "high": _finite_or_none(input_spec.range.high),
        "high_included": input_spec.range.high_in,
        "words": input_spec.range.as_words(),
    }


def _finite_or_none(bound: float) -> float | None:
    return bound if math.isfinite(bound) else None


def _calculation_texts(calculation: definitions.CalculationSpec) -> dict[str, str]:
    return {"formula": calculation.formula, "source": calculation.source, "caution": calculation.caution}


def _body_schema(calculation: definitions.CalculationSpec) -> dict[str, object]:
    """Return the JSON Schema of one calculation's request body."""
    return {
        "type": "object",
        "title": calculation.code,
        "description": calculation.title,
        "properties": {i.name: _input_schema(i) for i in calculation.inputs},
        "required": [i.name for i in calculation.inputs if i.default is REQUIRED],
        "additionalProperties": False,
    }


def _input_schema(input_spec: InputSpec) -> dict[str, object]:
    unknown = ["null"] if input_spec.gaps or input_spec.default is None else []
    schema: SchemaObject = {"type": ["string" if input_spec.choices else "number", *unknown]}
    if input_spec.choices:
        schema["enum"] = [*input_spec.choices, *([None] if unknown else [])]
    schema |= _bound_keyword("minimum", "exclusiveMinimum", input_spec.range.low, input_spec.range.low_in)
    schema |= _bound_keyword("maximum", "exclusiveMaximum", input_spec.range.high, input_spec.range.high_in)
    description = " ".join(filter(None, (input_spec.label, f"in {input_spec.unit}" if input_spec.unit else "")))
    if input_spec.many:
        return {
            "type": "array",
            "items": schema,
            "maxItems": calculation_groups.MAX_LIST_LENGTH,
            "description": description,
        }
    return {**schema, "description": description}


def _bound_keyword(open_to: str, shut: str, edge: float, included: bool) -> dict[str, float]:
    return {open_to if included else shut: edge} if math.isfinite(edge) else {}


REQUEST_BODIES = {
    "application/json": {"anyOf": [_body_schema(CALCULATIONS[code]) for code in calculation_groups.GROUP_OF]}
}
CODE_PATH_PARAMETER = OpenApiParameter("code", str, OpenApiParameter.PATH, enum=list(calculation_groups.GROUP_OF))


class CalculationEndpoint(APIView):
    """One calculation."""

    @extend_schema(
        operation_id="calculate",
        parameters=[CODE_PATH_PARAMETER],
        request=REQUEST_BODIES,
        responses={200: ResultSerializer, **problem_responses(400, 401, 404, 422)},
        examples=EXAMPLES,
    )
    def post(self, request: Request, code: str) -> Response:
        """Return the result for these inputs, by name. Impossible inputs are refused; dangerous ones are answered.

        Nothing is stored, so no `Idempotency-Key` is needed.
        """
        if not isinstance(request.data, dict):
            raise Refused("not_an_object", "Send the inputs by name, as one object.")
        if faults := [_not_text(name) for name, value in request.data.items() if _is_unstorable(name, value)]:
            raise Refused.from_faults(faults)
        return Response(ResultSerializer(_describe_result(_answer_calculation(code, request.data))).data)


def _is_unstorable(name: str, value: object) -> bool:
    return any(isinstance(text, str) and UNSTORABLE.search(text) for text in (name, value))


def _not_text(name: str) -> Fault:
    return Fault("not_text", "This contains a character that cannot be stored.", (name,))


def _answer_calculation(code: str, inputs: dict[str, object]) -> CalculationResult:
    """Return the result. Raises Refused; faults of the inputs have status 422, since the body itself is well formed."""
    try:
        return calculation_groups.answer_calculation(code, inputs)
    except Refused as refused:
        raise Refused.from_faults(refused.faults, status=422 if refused.status == 400 else refused.status) from None


def _describe_result(result: CalculationResult) -> dict[str, object]:
    calculation, outputs = result.calculation, result.outputs
    output_values = [
        {"name": o.name, "says": o.label, "unit": o.unit, "value": outputs[o.name]} for o in calculation.outputs
    ]
    return {
        "code": calculation.code,
        "inputs": result.inputs,
        "outputs": output_values,
        "verdict": outputs.get("verdict"),
        "reasons": outputs.get("reasons") or [],
        "assumptions": list(result.assumptions),
        **_calculation_texts(calculation),
    }
