"""The parser of JSON bodies: UTF-8, at most 2 MiB, at most 12 levels deep, every name once."""

import json
from collections.abc import Mapping
from typing import IO, Any, NoReturn

from django.utils.http import parse_header_parameters
from rest_framework.exceptions import APIException, ParseError, UnsupportedMediaType
from rest_framework.parsers import BaseParser

MAX_DEPTH = 12
MAX_BODY_BYTES = 2 * 1024 * 1024


class BodyTooLarge(APIException):
    """413: a JSON body over 2 MiB."""

    status_code = 413
    default_code = "too_large"
    default_detail = "A request body can be at most 2 MiB."


class BoundedJSONParser(BaseParser):
    """Refuses bodies that are too large, too deep or no JSON, before anything else reads them."""

    media_type = "application/json"

    def parse(
        self, stream: IO[Any], media_type: str | None = None, parser_context: Mapping[str, Any] | None = None
    ) -> Any:
        """Parse within the bounds. Raises BodyTooLarge, UnsupportedMediaType or ParseError."""
        _, parameters = parse_header_parameters(media_type or self.media_type)
        # No other codec is used: some that a header can name decompress, which would defeat the bound on bytes.
        if parameters.get("charset", "utf-8").lower() not in ("utf-8", "utf8"):
            raise UnsupportedMediaType(media_type or "")
        body = stream.read(MAX_BODY_BYTES + 1)
        if len(body) > MAX_BODY_BYTES:
            raise BodyTooLarge
        if parser_context and "request" in parser_context:
            parser_context["request"].raw = body  # a refused post is stored as it came
        data = _load_json(body)
        if _is_deeper_than(data, MAX_DEPTH):
            raise ParseError("Nested too deeply.", code="too_deep")
        return data


def _load_json(body: bytes) -> Any:
    try:
        return json.loads(body.decode(), parse_constant=_refuse_constant, object_pairs_hook=_refuse_duplicate_names)
    except UnicodeDecodeError as error:
        raise ParseError(f"This is not UTF-8: byte {error.start}.", code="not_utf8") from None
    except ValueError as error:  # raised too for an integer of more digits than Python reads
        raise ParseError(f"This is not JSON: {error}.", code="not_json") from None
    except RecursionError:
        raise ParseError("Nested too deeply.", code="too_deep") from None


def _refuse_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is not a number")


def _refuse_duplicate_names(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Return the object. Raises ParseError for a repeated name, since parsers differ in which value they take."""
    members = dict(pairs)
    if len(members) != len(pairs):
        raise ParseError("A name appears twice in one object.", code="name_twice")
    return members


def _is_deeper_than(data: Any, depth: int) -> bool:
    """Return whether the value nests deeper than `depth`. It goes level by level, so that depth costs no stack."""
    level = [data]
    for _ in range(depth):
        level = [v for d in level for v in (d.values() if isinstance(d, dict) else d if isinstance(d, list) else ())]
        if not level:
            return False
    return any(isinstance(v, (dict, list)) for v in level)
