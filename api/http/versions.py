"""Versions: a change names the version it was decided on in If-Match (RFC 9110)."""

import re

from drf_spectacular.utils import OpenApiParameter
from rest_framework.request import Request
from rest_framework.response import Response

from fleet.errors import Refused

_STRONG_ETAG = re.compile(r'"(\d{1,9})"', re.ASCII)

IF_MATCH = OpenApiParameter(
    "If-Match",
    str,
    OpenApiParameter.HEADER,
    required=True,
    description='The version this was decided on, as its ETag says it: "3". Missing: 428; another one by now: 412.',
)


def version_of(request: Request) -> int:
    """Return the version in If-Match. Raises Refused: 428 where it is missing, 412 where it is no version."""
    header = request.headers.get("If-Match", "").strip()
    if header in ("", "*"):
        raise Refused("version_missing", "Send the version this was decided on in If-Match.", status=428)
    match = _STRONG_ETAG.fullmatch(header)
    if match is None:
        raise Refused("stale", "This is not a version of it.", status=412)
    return int(match[1])


def respond_with_version(body: object, version: int, status: int = 200) -> Response:
    """Return an answer with its version as a strong ETag."""
    return Response(body, status=status, headers={"ETag": f'"{version}"'})
