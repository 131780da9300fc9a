"""Files that arrive whole or in pieces (RFC 9110 Content-Range): reading a piece, and saying what has arrived."""

import re
from collections.abc import Mapping
from typing import IO, Any

from django.http import FileResponse, Http404
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.parsers import BaseParser
from rest_framework.request import Request

from api.http.parsing import BodyTooLarge
from fleet.errors import Refused
from fleet.files import queries
from fleet.files.declared import PDF_TYPE, PICTURE_TYPE, DeclaredFile
from fleet.files.models import KeptFile
from fleet.files.services import MAX_PIECE_BYTES, SentPiece

RANGE = re.compile(r"bytes (\d{1,9})-(\d{1,9})/(\d{1,9})", re.ASCII)
HASH_PATH_PARAMETER = OpenApiParameter("sha256", str, OpenApiParameter.PATH)
RANGE_HEADER = OpenApiParameter(
    "Content-Range", str, OpenApiParameter.HEADER, description="As in RFC 9110: bytes 0-524287/900000. Without: whole."
)


class BytesParser(BaseParser):
    """Takes the bytes of a piece as they are."""

    media_type = "*/*"

    def parse(
        self, stream: IO[Any], media_type: str | None = None, parser_context: Mapping[str, object] | None = None
    ) -> Any:
        """Read within the bound. Raises BodyTooLarge."""
        body = bytes(stream.read(MAX_PIECE_BYTES + 1))
        if len(body) > MAX_PIECE_BYTES:
            raise BodyTooLarge("A piece can be at most 1 MiB. Send the file in several.")
        return body


class ArrivalSerializer(serializers.Serializer[object]):
    """What has arrived of a declared file. `kept`: it is whole, was checked, and can be looked at."""

    sha256 = serializers.CharField()
    size = serializers.IntegerField()
    received = serializers.IntegerField()
    kept = serializers.BooleanField()


def arrival_json(declared: DeclaredFile, row: KeptFile | None = None) -> dict[str, object]:
    """Return what has arrived of a file as the API tells it."""
    row = row or queries.kept_file_of(declared)
    values = {"received": row.received if row else 0, "kept": bool(row and row.kept_at)}
    return {"sha256": declared.sha256, "size": declared.size, **values}


def sent_piece(request: Request) -> SentPiece:
    """Return the piece that a request brings. Raises Refused where Content-Range does not say what is sent."""
    content = request.data if isinstance(request.data, bytes) else b""
    header = request.headers.get("Content-Range")
    if header is None:
        return SentPiece(0, len(content), content)
    range_match = RANGE.fullmatch(header.strip())
    if range_match is None or int(range_match[2]) - int(range_match[1]) + 1 != len(content):
        message = "Content-Range must be bytes FIRST-LAST/ALL, and name as many bytes as are sent."
        raise Refused("bad_range", message, ("Content-Range",), status=400)
    return SentPiece(int(range_match[1]), int(range_match[3]), content)


def file_response(declared: DeclaredFile) -> FileResponse:
    """Return a kept file as one to be saved, which no browser takes for a page of this site. Raises Http404 without."""
    row = queries.kept_file_of(declared)
    if row is None or row.kept_at is None:
        raise Http404
    shown_type = PDF_TYPE if row.type == PDF_TYPE else PICTURE_TYPE
    name = f"{declared.sha256[:16]}.{'pdf' if shown_type == PDF_TYPE else 'jpg'}"
    response = FileResponse(row.content.open("rb"), content_type=shown_type, as_attachment=True, filename=name)
    response["X-Content-Type-Options"] = "nosniff"
    response["Cache-Control"] = "private, max-age=86400, immutable"
    return response
