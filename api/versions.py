"""Changing what has a version: the caller says which one the change was decided on (RFC 9110, If-Match)."""

import re
from typing import Any

from drf_spectacular.utils import OpenApiParameter
from rest_framework.request import Request
from rest_framework.response import Response

from fleet.errors import Refused

_STRONG = re.compile(r'"(\d{1,9})"', re.ASCII)

IF_MATCH = OpenApiParameter(
    "If-Match",
    str,
    OpenApiParameter.HEADER,
    required=True,
    description='The version this was decided on, as its ETag says it: "3". Missing: 428; another one by now: 412.',
)


def version_of(request: Request) -> int:
    """The version the caller knew. Refused with 428 where none is named, with 412 where it can't be one of ours."""
    sent = request.headers.get("If-Match", "").strip()
    if sent in ("", "*"):
        raise Refused("version_missing", "Name the version this was decided on in If-Match.", status=428)
    found = _STRONG.fullmatch(sent)
    if found is None:
        raise Refused("stale", "This is no version of it.", status=412)
    return int(found[1])


def versioned(body: Any, version: int, status: int = 200) -> Response:
    """An answer that says its version as a strong ETag."""
    return Response(body, status=status, headers={"ETag": f'"{version}"'})
