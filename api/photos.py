"""Endpoints of photographs: sending one whole or in pieces, what has arrived of it, and the picture itself."""

import re
from collections.abc import Mapping
from typing import IO, Any

from django.http import FileResponse, Http404
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.parsers import BaseParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.answers import problem_responses
from api.http.parsing import BodyTooLarge
from api.http.retry import run_with_retries
from api.visit_report import PDFRenderer
from fleet.accounts.requests import user_of
from fleet.errors import Refused
from fleet.files import queries
from fleet.files.models import KeptFile
from fleet.files.services import MAX_PIECE_BYTES, SentPiece, take_piece
from fleet.visits.models import Photograph

SHOWN_TYPE = "image/jpeg"
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
            raise BodyTooLarge("A piece can be at most 1 MiB. Send the photograph in several.")
        return body


class ArrivalSerializer(serializers.Serializer[object]):
    """What has arrived of a declared photograph. `kept`: it is whole, was checked, and can be looked at."""

    sha256 = serializers.CharField()
    size = serializers.IntegerField()
    received = serializers.IntegerField()
    kept = serializers.BooleanField()


class PhotographEndpoint(APIView):
    """One photograph that a visit declares."""

    parser_classes = (BytesParser,)

    @extend_schema(
        operation_id="getPhotographArrival",
        parameters=[HASH_PATH_PARAMETER],
        responses={200: ArrivalSerializer, **problem_responses(401, 404)},
    )
    def get(self, request: Request, sha256: str) -> Response:
        """Return how many bytes have arrived: from there a sender goes on after a break."""
        return Response(_arrival(_photograph_for(request, sha256, "visit.see")))

    @extend_schema(
        operation_id="sendPhotograph",
        parameters=[HASH_PATH_PARAMETER, RANGE_HEADER],
        request={"application/octet-stream": OpenApiTypes.BINARY},
        responses={
            201: ArrivalSerializer,
            202: ArrivalSerializer,
            **problem_responses(400, 401, 403, 404, 409, 413, 422, 503),
        },
    )
    def put(self, request: Request, sha256: str) -> Response:
        """Send a photograph or the next piece of it. 202 while bytes are missing, 201 once it is whole and checked."""
        photograph = _photograph_for(request, sha256, "visit.post")
        piece = _sent_piece(request)
        at = timezone.now()
        row = run_with_retries(lambda: take_piece(photograph=photograph, piece=piece, by=user_of(request), at=at))
        return Response(_arrival(photograph, row), status=201 if row.kept_at else 202)


class JPEGRenderer(PDFRenderer):
    """Makes JPEG negotiable. The view itself writes the picture."""

    media_type = SHOWN_TYPE
    format = "jpg"


class PictureEndpoint(APIView):
    """The picture that is shown: made anew from what was sent."""

    renderer_classes = (JPEGRenderer,)

    @extend_schema(
        operation_id="getPhotograph",
        parameters=[HASH_PATH_PARAMETER],
        responses={(200, SHOWN_TYPE): OpenApiTypes.BINARY, **problem_responses(401, 404)},
    )
    def get(self, request: Request, sha256: str) -> FileResponse:
        """Return the picture. 404 until it has arrived."""
        return picture_response(_photograph_for(request, sha256, "visit.see"))


def picture_response(photograph: Photograph) -> FileResponse:
    """Return a kept picture as a file that no browser takes for a page of this site. Raises Http404 without one."""
    row = queries.kept_file_of(photograph)
    if row is None or row.kept_at is None:
        raise Http404
    name = f"{photograph.sha256[:16]}.jpg"
    response = FileResponse(row.content.open("rb"), content_type=SHOWN_TYPE, as_attachment=True, filename=name)
    response["X-Content-Type-Options"] = "nosniff"
    response["Cache-Control"] = "private, max-age=86400, immutable"
    return response


def _photograph_for(request: Request, sha256: str, action: str) -> Photograph:
    """Return a declared photograph that the user may see or send. Raises Http404 for any other hash."""
    at = timezone.now()
    declared_photographs = queries.photographs_for(user_of(request), action, at).filter(sha256=sha256)
    photograph = declared_photographs.order_by("portfolio", "id").first()
    if photograph is None:
        raise Http404
    return photograph


def _arrival(photograph: Photograph, row: KeptFile | None = None) -> dict[str, object]:
    row = row or queries.kept_file_of(photograph)
    values = {"received": row.received if row else 0, "kept": bool(row and row.kept_at)}
    return {"sha256": photograph.sha256, "size": photograph.size, **values}


def _sent_piece(request: Request) -> SentPiece:
    content = request.data if isinstance(request.data, bytes) else b""
    header = request.headers.get("Content-Range")
    if header is None:
        return SentPiece(0, len(content), content)
    range_match = RANGE.fullmatch(header.strip())
    if range_match is None or int(range_match[2]) - int(range_match[1]) + 1 != len(content):
        message = "Content-Range must be bytes FIRST-LAST/ALL, and name as many bytes as are sent."
        raise Refused("bad_range", message, ("Content-Range",), status=400)
    return SentPiece(int(range_match[1]), int(range_match[3]), content)
