"""What the OpenAPI document says of this API's own serializers and fields, so that it says all they refuse."""

from typing import Any

from drf_spectacular.extensions import OpenApiSerializerExtension, OpenApiSerializerFieldExtension

NO_NUL = "^[^\\u0000]*$"
SOMETHING = "^[^\\u0000]*[^\\s\\u0000][^\\u0000]*$"  # more than blanks


class StrictExtension(OpenApiSerializerExtension):
    """Unknown fields are refused, and the document says so."""

    target_class = "api.strict.StrictSerializer"
    match_subclasses = True

    def map_serializer(self, auto_schema: Any, direction: str) -> Any:
        """The framework's own description, closed."""
        told = auto_schema._map_serializer(self.target, direction, bypass_extensions=True)
        return {**told, "additionalProperties": False} if told.get("type") == "object" else told


class TextExtension(OpenApiSerializerFieldExtension):
    """A text that must say something is no blank, and none holds a character that can't be kept."""

    target_class = "api.strict.TextField"
    match_subclasses = True

    def map_serializer_field(self, auto_schema: Any, direction: str) -> Any:
        """The framework's own description, with what is refused besides."""
        told = auto_schema._map_serializer_field(self.target, direction, bypass_extensions=True)
        return {**told, "pattern": NO_NUL if self.target.allow_blank else SOMETHING}
