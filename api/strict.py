"""Input that says what it does not know, and takes nothing for something else."""

import re
from datetime import datetime
from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

import api.described

_UUID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}", re.IGNORECASE)
_RFC3339 = re.compile(r"\d{4}-\d\d-\d\d[Tt]\d\d:\d\d:\d\d(\.\d{1,9})?([Zz]|[+-]\d\d:\d\d)?", re.ASCII)
_UNSTORABLE = re.compile("[\x00\ud800-\udfff]")
LONGEST_WORD = 64
MOST_NAMED = 50


class StrictSerializer(serializers.Serializer[Any]):
    """Refuses unknown fields instead of dropping them. `between`: what holds between fields, as JSON Schema says it."""

    between: ClassVar[dict[str, Any]] = {}

    def to_internal_value(self, data: Any) -> Any:
        """Validate; a field nobody knows, and what `beside` finds, are faults beside all others."""
        if not isinstance(data, dict):
            return super().to_internal_value(data)
        known = {name for name, field in self.fields.items() if not field.read_only}
        strange = [name for name in data if name not in known]
        faults = {**self.beside(data), **{n: [fault("unknown_field", "Unknown field.")] for n in strange[:MOST_NAMED]}}
        if len(strange) > MOST_NAMED:  # a flood of names costs a flood of work
            faults["non_field_errors"] = [fault("unknown_field", f"{len(strange) - MOST_NAMED} unknown fields more.")]
        try:
            value = super().to_internal_value(data)
        except serializers.ValidationError as error:
            raise serializers.ValidationError({**faults, **error.detail}) from None  # type: ignore[dict-item]
        if faults:
            raise serializers.ValidationError(faults)
        return value

    def beside(self, data: dict[str, Any]) -> dict[str, Any]:
        """Return faults between fields, by field, from the data as sent; a field's own fault goes before them."""
        return {}


def fault(code: str, message: str) -> serializers.ErrorDetail:
    """One fault, as the framework carries it."""
    return serializers.ErrorDetail(message, code)


class IdField(serializers.UUIDField):
    """A UUID in the one form RFC 9562 writes: no braces, no number."""

    def to_internal_value(self, data: Any) -> Any:
        """Refuse every other spelling of it."""
        if not (isinstance(data, str) and _UUID.fullmatch(data)):
            self.fail("invalid", value="This")
        return super().to_internal_value(data)


class FlagField(serializers.BooleanField):
    """JSON's true or false: no word and no number that might mean it."""

    def to_internal_value(self, data: Any) -> bool:
        """Take the two."""
        if not isinstance(data, bool):
            self.fail("invalid", input=type(data).__name__)
        return bool(data)


class TextField(serializers.CharField):
    """A JSON string; a number is not taken for its digits."""

    def to_internal_value(self, data: Any) -> str:
        """Take strings only."""
        if not isinstance(data, str):
            self.fail("invalid")
        return super().to_internal_value(data)


class InstantField(serializers.DateTimeField):
    """RFC 3339 with an offset; without one it could be any of three hours."""

    default_error_messages = {
        "no_offset": "An instant needs its offset, as in 2026-10-03T09:10:00-04:00.",
        "not_an_instant": "Not an instant like 2026-10-03T09:10:00-04:00.",
    }

    def to_internal_value(self, value: Any) -> datetime:
        """Refuse every other way to write a time."""
        if not (isinstance(value, str) and _RFC3339.fullmatch(value)):
            self.fail("not_an_instant")
        return super().to_internal_value(value.upper())

    def enforce_timezone(self, value: datetime) -> datetime:
        """Refuse a naive instant instead of guessing."""
        if value.utcoffset() is None:
            self.fail("no_offset")
        return super().enforce_timezone(value)


@extend_schema_field({"type": ["number", "boolean", "string", "array", "object", "null"]})
class AnyField(serializers.JSONField):
    """Whatever JSON can say, null too."""


@extend_schema_field(api.described.SCALAR)
class ScalarField(serializers.Field[Any, Any, Any, Any]):
    """A reading or a set value: a finite number, yes or no, or a short word; null where it was not taken."""

    default_error_messages = {
        "scalar": "A number, true or false, or a short text.",
        "not_text": "A character in this can't be kept.",
    }

    def __init__(self, **options: Any) -> None:
        super().__init__(allow_null=True, **options)

    def to_internal_value(self, data: Any) -> Any:
        """Take it as it is if it can be."""
        short = isinstance(data, str) and len(data) <= LONGEST_WORD
        number = isinstance(data, (int, float)) and abs(data) < 1e12  # false for NaN and infinity
        if not (short or number):
            self.fail("scalar")
        if short and _UNSTORABLE.search(data):
            self.fail("not_text")
        return data

    def to_representation(self, value: Any) -> Any:
        """As it is."""
        return value


class ValuesField(serializers.DictField):
    """Scalars by name, with every fault at its own name."""

    child = ScalarField()
    default_error_messages = {"too_many": "At most {most} values."}

    def __init__(self, *, most: int = 60, **options: Any) -> None:
        super().__init__(**options)
        self.most = most

    def to_internal_value(self, data: Any) -> Any:
        """Bound their number before looking at any."""
        if isinstance(data, dict) and len(data) > self.most:
            self.fail("too_many", most=self.most)
        return super().to_internal_value(data)
