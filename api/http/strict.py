"""Strict serializers and fields: they refuse unknown fields and do not convert one type to another."""

import re
from datetime import date, datetime
from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request

import api.http.openapi_extensions
from api.http.schema_types import SchemaObject

_UUID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}", re.IGNORECASE)
_RFC3339 = re.compile(r"\d{4}-\d\d-\d\d[Tt]\d\d:\d\d:\d\d(\.\d{1,9})?([Zz]|[+-]\d\d:\d\d)?", re.ASCII)
_FULL_DATE = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
UNSTORABLE = re.compile("[\x00\ud800-\udfff]")
MAX_WORD_LENGTH = 64
MAX_NAMED_FAULTS = 50

ValidatedData = dict[str, Any]  # what a serializer of this API accepted, by the names of its fields


class StrictSerializer(serializers.Serializer[object]):
    """Refuses unknown fields instead of dropping them. `between` holds constraints between fields as JSON Schema."""

    between: ClassVar[SchemaObject] = {}

    def to_internal_value(self, data: Any) -> Any:
        """Validate. Unknown fields and faults between fields are reported together with all others."""
        if not isinstance(data, dict):
            return super().to_internal_value(data)
        known_fields = {name for name, field in self.fields.items() if not field.read_only}
        unknown_fields = [name for name in data if name not in known_fields]
        faults = {
            **self.find_cross_field_faults(data),
            **{n: [make_fault("unknown_field", "Unknown field.")] for n in unknown_fields[:MAX_NAMED_FAULTS]},
        }
        if len(unknown_fields) > MAX_NAMED_FAULTS:  # bounds the work for a body with very many names
            faults["non_field_errors"] = [
                make_fault("unknown_field", f"{len(unknown_fields) - MAX_NAMED_FAULTS} more unknown fields.")
            ]
        try:
            value = super().to_internal_value(data)
        except serializers.ValidationError as error:
            raise serializers.ValidationError({**faults, **error.detail}) from None  # type: ignore[dict-item]
        if faults:
            raise serializers.ValidationError(faults)
        return value

    def find_cross_field_faults(self, data: ValidatedData) -> ValidatedData:
        """Return faults between fields, by field, from the data as sent. A field's own fault replaces them."""
        return {}


def validate_body(request: Request, serializer_class: type[serializers.Serializer[object]]) -> ValidatedData:
    """Return the validated body of a request. Raises ValidationError with every fault at its field's name."""
    serializer = serializer_class(data=request.data)
    serializer.is_valid(raise_exception=True)
    return dict(serializer.validated_data)


def make_fault(code: str, message: str) -> serializers.ErrorDetail:
    """Return one fault in the framework's form."""
    return serializers.ErrorDetail(message, code)


class IdField(serializers.UUIDField):
    """A UUID as RFC 9562 writes it: no braces, no number."""

    def to_internal_value(self, data: Any) -> Any:
        """Refuse every other spelling."""
        if not (isinstance(data, str) and _UUID.fullmatch(data)):
            self.fail("invalid", value="This")
        return super().to_internal_value(data)


class FlagField(serializers.BooleanField):
    """JSON's true or false. Words and numbers are refused."""

    def to_internal_value(self, data: Any) -> bool:
        """Accept booleans only."""
        if not isinstance(data, bool):
            self.fail("invalid", input=type(data).__name__)
        return bool(data)


class WholeNumberField(serializers.IntegerField):
    """A JSON number without a fraction. Texts, true and false are refused."""

    def to_internal_value(self, data: Any) -> int:
        """Accept whole numbers only; 13.0 is one, as JSON Schema counts."""
        is_whole = isinstance(data, int) or (isinstance(data, float) and data.is_integer())
        if isinstance(data, bool) or not is_whole:
            self.fail("invalid")
        return int(super().to_internal_value(int(data)))


class TextField(serializers.CharField):
    """A JSON string. Numbers are refused."""

    def to_internal_value(self, data: Any) -> str:
        """Accept strings only."""
        if not isinstance(data, str):
            self.fail("invalid")
        return super().to_internal_value(data)


class InstantField(serializers.DateTimeField):
    """An instant as RFC 3339 writes it, with an offset. Without one it would be ambiguous."""

    default_error_messages = {
        "no_offset": "An instant needs its offset, as in 2026-10-03T09:10:00-04:00.",
        "not_an_instant": "Not an instant like 2026-10-03T09:10:00-04:00.",
    }

    def to_internal_value(self, value: Any) -> datetime:
        """Refuse every other notation of time."""
        if not (isinstance(value, str) and _RFC3339.fullmatch(value)):
            self.fail("not_an_instant")
        return super().to_internal_value(value.upper())

    def enforce_timezone(self, value: datetime) -> datetime:
        """Refuse an instant without offset."""
        if value.utcoffset() is None:
            self.fail("no_offset")
        return super().enforce_timezone(value)


class DayField(serializers.DateField):
    """A day as RFC 3339 writes it. ISO 8601's other notations are refused: the document promises this one."""

    def to_internal_value(self, value: Any) -> date:
        """Refuse every other notation of a day."""
        if not (isinstance(value, str) and _FULL_DATE.fullmatch(value)):
            self.fail("invalid", format="YYYY-MM-DD")
        day: date = super().to_internal_value(value)
        return day


@extend_schema_field({"type": ["number", "boolean", "string", "array", "object", "null"]})
class AnyField(serializers.JSONField):
    """Any JSON value, null included."""


@extend_schema_field(api.http.openapi_extensions.SCALAR_SCHEMA)
class ScalarField(serializers.Field[Any, Any, Any, Any]):
    """A reading or a set value: a finite number, true or false, or a short word. Null: not taken."""

    default_error_messages = {
        "scalar": "A number, true or false, or a short text.",
        "not_text": "This contains a character that cannot be stored.",
    }

    def __init__(self, **options: Any) -> None:
        super().__init__(allow_null=True, **options)

    def to_internal_value(self, data: Any) -> Any:
        """Return the value unchanged if it is acceptable."""
        short = isinstance(data, str) and len(data) <= MAX_WORD_LENGTH
        number = isinstance(data, (int, float)) and abs(data) < 1e12  # false for NaN and infinity
        if not (short or number):
            self.fail("scalar")
        if short and UNSTORABLE.search(data):
            self.fail("not_text")
        return data

    def to_representation(self, value: Any) -> Any:
        """Return the value unchanged."""
        return value


class ValuesField(serializers.DictField):
    """Scalars by name. Every fault is reported at its name."""

    child = ScalarField()
    default_error_messages = {"too_many": "At most {most} values."}

    def __init__(self, *, most: int = 60, **options: Any) -> None:
        super().__init__(**options)
        self.most = most

    def to_internal_value(self, data: Any) -> Any:
        """Check the number of values before any of them."""
        if isinstance(data, dict) and len(data) > self.most:
            self.fail("too_many", most=self.most)
        return super().to_internal_value(data)
