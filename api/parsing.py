"""JSON as it may arrive: at most 2 MiB, at most 12 levels deep."""

from collections.abc import Mapping
from typing import IO, Any

from django.core.exceptions import RequestDataTooBig
from rest_framework.exceptions import APIException, ParseError
from rest_framework.parsers import JSONParser

DEEPEST = 12
MOST_BYTES = 2 * 1024 * 1024


class TooLarge(APIException):
    """413."""

    status_code = 413
    default_code = "too_large"
    default_detail = "A body is at most 2 MiB."


class BoundedJSONParser(JSONParser):
    """Refuses what is too large or too deep before anybody looks at it."""

    def parse(
        self, stream: IO[Any], media_type: str | None = None, parser_context: Mapping[str, Any] | None = None
    ) -> Any:
        """Parse within the bounds. Raises TooLarge or ParseError."""
        request = (parser_context or {}).get("request")
        if request is not None and int(request.META.get("CONTENT_LENGTH") or 0) > MOST_BYTES:
            raise TooLarge
        try:
            data = super().parse(stream, media_type, parser_context)
        except RequestDataTooBig:
            raise TooLarge from None
        except RecursionError:
            raise ParseError("Nested too deeply.", code="too_deep") from None
        if _deeper(data, DEEPEST):
            raise ParseError("Nested too deeply.", code="too_deep")
        return data


def _deeper(data: Any, most: int) -> bool:
    """Whether the value nests deeper than `most`, level by level so that depth costs no stack."""
    level = [data]
    for _ in range(most):
        level = [v for d in level for v in (d.values() if isinstance(d, dict) else d if isinstance(d, list) else ())]
        if not level:
            return False
    return any(isinstance(v, (dict, list)) for v in level)
