"""What the OpenAPI document says of this API's own serializers and fields, so that it says all they refuse."""

from typing import Any

from drf_spectacular.extensions import OpenApiSerializerExtension, OpenApiSerializerFieldExtension

NO_NUL = "^[^\\u0000]*$"
SOMETHING = "^[^\\u0000]*[^\\s\\u0000][^\\u0000]*$"  # more than blanks


# A reading or a set value: a finite number, yes or no, a short word, or null.
SCALAR: dict[str, Any] = {
    "type": ["number", "boolean", "string", "null"],
    "exclusiveMinimum": -1e12,
    "exclusiveMaximum": 1e12,
    "maxLength": 64,
    "pattern": NO_NUL,
}


class StrictExtension(OpenApiSerializerExtension):
    """Unknown fields are refused, and the document says so."""

    target_class = "api.strict.StrictSerializer"
    match_subclasses = True

    def map_serializer(self, auto_schema: Any, direction: str) -> Any:
        """The framework's own description, closed, with what holds between the fields."""
        told = auto_schema._map_serializer(self.target, direction, bypass_extensions=True)
        if told.get("type") != "object":
            return told
        return {**told, "additionalProperties": False, **self.target.between}


class TextExtension(OpenApiSerializerFieldExtension):
    """A text that must say something is no blank, and none holds a character that can't be kept."""

    target_class = "api.strict.TextField"
    match_subclasses = True

    def map_serializer_field(self, auto_schema: Any, direction: str) -> Any:
        """The framework's own description, with what is refused besides."""
        told = auto_schema._map_serializer_field(self.target, direction, bypass_extensions=True)
        return {**told, "pattern": NO_NUL if self.target.allow_blank else SOMETHING}


class ValuesExtension(OpenApiSerializerFieldExtension):
    """Scalars by name, so many at most."""

    target_class = "api.strict.ValuesField"

    def map_serializer_field(self, auto_schema: Any, direction: str) -> Any:
        """An open object of scalars."""
        return {"type": "object", "additionalProperties": SCALAR, "maxProperties": self.target.most}


class WithValuesExtension(OpenApiSerializerExtension):
    """Known fields, and every other one a scalar."""

    target_class = "api.visit_serializers.WithValuesSerializer"
    match_subclasses = True

    def map_serializer(self, auto_schema: Any, direction: str) -> Any:
        """The framework's own description, open to scalars."""
        told = auto_schema._map_serializer(self.target, direction, bypass_extensions=True)
        return {**told, "additionalProperties": SCALAR}
