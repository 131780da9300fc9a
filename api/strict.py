"""Input that says what it does not know, and instants that say where they are."""

from datetime import datetime
from typing import Any

from django.core.validators import ProhibitNullCharactersValidator
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers


class StrictSerializer(serializers.Serializer[Any]):
    """Refuses unknown fields instead of dropping them."""

    def to_internal_value(self, data: Any) -> Any:
        """Validate; a field nobody knows is a fault beside all others."""
        faults: dict[str, Any] = {}
        if isinstance(data, dict):
            known = {name for name, field in self.fields.items() if not field.read_only}
            faults = {n: [serializers.ErrorDetail("Unknown field.", "unknown_field")] for n in data if n not in known}
        try:
            value = super().to_internal_value(data)
        except serializers.ValidationError as error:
            raise serializers.ValidationError({**faults, **error.detail}) from None  # type: ignore[dict-item]
        if faults:
            raise serializers.ValidationError(faults)
        return value


class InstantField(serializers.DateTimeField):
    """RFC 3339 with an offset; without one it could be any of three hours."""

    default_error_messages = {"no_offset": "An instant needs its offset, as in 2026-10-03T09:10:00-04:00."}

    def enforce_timezone(self, value: datetime) -> datetime:
        """Refuse a naive instant instead of guessing."""
        if value.utcoffset() is None:
            self.fail("no_offset")
        return super().enforce_timezone(value)


@extend_schema_field({"type": ["number", "boolean", "string", "null"]})
class ScalarField(serializers.Field[Any, Any, Any, Any]):
    """A reading or a set value: a finite number, yes or no, or a short word; null where it was not taken."""

    default_error_messages = {"scalar": "A number, true or false, or a short text."}

    def __init__(self, **options: Any) -> None:
        super().__init__(allow_null=True, **options)

    def to_internal_value(self, data: Any) -> Any:
        """Take it as it is if it can be."""
        if isinstance(data, str):
            ProhibitNullCharactersValidator()(data)
        short = isinstance(data, str) and len(data) <= 64
        number = isinstance(data, (int, float)) and abs(data) < 1e12  # false for NaN and infinity
        if not (short or number):
            self.fail("scalar")
        return data

    def to_representation(self, value: Any) -> Any:
        """As it is."""
        return value
