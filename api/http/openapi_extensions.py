"""Extensions of the OpenAPI document that describe the constraints of this API's own serializers and fields."""

from typing import Any

from drf_spectacular.extensions import OpenApiSerializerExtension, OpenApiSerializerFieldExtension

from api.http.schema_types import SchemaObject

NO_NUL = "^[^\\u0000]*$"
EMPTY_TEXT = {"type": "string", "maxLength": 0}
# At least one character that is not blank. Readers of patterns differ on whether separators and next line are blank.
NOT_BLANK = "^[^\\u0000]*[^\\s\\u0000\\u001c-\\u001f\\u0085][^\\u0000]*$"


# A reading or a set value: a finite number, true or false, a short word, or null.
SCALAR_SCHEMA: SchemaObject = {
    "type": ["number", "boolean", "string", "null"],
    "exclusiveMinimum": -1e12,
    "exclusiveMaximum": 1e12,
    "maxLength": 64,
    "pattern": NO_NUL,
}


class StrictSerializerExtension(OpenApiSerializerExtension):  # type: ignore[no-untyped-call]
    """Describes that a strict serializer refuses unknown fields."""

    target_class = "api.http.strict.StrictSerializer"
    match_subclasses = True

    def map_serializer(self, auto_schema: Any, direction: str) -> Any:
        """Return the framework's schema without additional properties, with the constraints between fields."""
        schema = auto_schema._map_serializer(self.target, direction, bypass_extensions=True)
        if schema.get("type") != "object":
            return schema
        return {**schema, "additionalProperties": False, **self.target.between}


class TextFieldExtension(OpenApiSerializerFieldExtension):  # type: ignore[no-untyped-call]
    """Describes that a required text is not blank and that no text holds a NUL."""

    target_class = "api.http.strict.TextField"
    match_subclasses = True

    def map_serializer_field(self, auto_schema: Any, direction: str) -> Any:
        """Return the framework's schema with the pattern of what is accepted."""
        schema = auto_schema._map_serializer_field(self.target, direction, bypass_extensions=True)
        return {**schema, "pattern": NO_NUL if self.target.allow_blank else NOT_BLANK}


class ValuesFieldExtension(OpenApiSerializerFieldExtension):  # type: ignore[no-untyped-call]
    """Describes a bounded number of scalars by name."""

    target_class = "api.http.strict.ValuesField"

    def map_serializer_field(self, auto_schema: Any, direction: str) -> Any:
        """Return the schema of an open object of scalars."""
        return {"type": "object", "additionalProperties": SCALAR_SCHEMA, "maxProperties": self.target.most}


class WithValuesSerializerExtension(OpenApiSerializerExtension):  # type: ignore[no-untyped-call]
    """Describes known fields; every other field is a scalar."""

    target_class = "api.visit_serializers.WithValuesSerializer"
    match_subclasses = True

    def map_serializer(self, auto_schema: Any, direction: str) -> Any:
        """Return the framework's schema with scalars as additional properties."""
        schema = auto_schema._map_serializer(self.target, direction, bypass_extensions=True)
        return {**schema, "additionalProperties": SCALAR_SCHEMA}


def drop_needless_choices(result: SchemaObject, **_: object) -> SchemaObject:
    """Describe a text that may be empty by one schema.

    The framework offers the empty text as a second choice of exactly one; where the first allows it too, none matches.
    """
    for component in result["components"]["schemas"].values():
        for name, schema in component.get("properties", {}).items():
            choices = schema.get("oneOf", [])
            if len(choices) == 2 and choices[1] == EMPTY_TEXT and choices[0].get("pattern") == NO_NUL:
                rest = {key: value for key, value in schema.items() if key != "oneOf"}
                component["properties"][name] = {**choices[0], **rest}
    return result


def describe_request_bounds(result: SchemaObject, **_: object) -> SchemaObject:
    """Add to every operation under /v1/ how a request is refused by its address: 400 and 414."""
    content = {"application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}}
    for path, operations in result["paths"].items():
        for operation in operations.values() if "/v1/" in path else ():
            for status, description in _ADDRESS_REFUSALS.items():
                operation["responses"].setdefault(status, {"description": description, "content": content})
    return result


_ADDRESS_REFUSALS = {
    "400": "The address or a cookie contains a character that cannot be stored.",
    "414": "The address is longer than 8 KiB.",
}
