"""Endpoints of photographs: sending one whole or in pieces, what has arrived of it, and the picture itself."""

from django.http import FileResponse, Http404
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.answers import problem_responses
from api.http.pieces import (
    HASH_PATH_PARAMETER,
    RANGE_HEADER,
    ArrivalSerializer,
    BytesParser,
    arrival_json,
    file_response,
    sent_piece,
)
from api.http.retry import run_with_retries
from api.visit_report import PDFRenderer
from fleet.accounts.requests import user_of
from fleet.files import queries
from fleet.files.declared import PICTURE_TYPE, DeclaredFile, file_of_photograph
from fleet.files.services import take_piece


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
        return Response(arrival_json(_photograph_for(request, sha256, "visit.see")))

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
        declared, piece = _photograph_for(request, sha256, "visit.post"), sent_piece(request)
        at = timezone.now()
        row = run_with_retries(lambda: take_piece(declared=declared, piece=piece, by=user_of(request), at=at))
        return Response(arrival_json(declared, row), status=201 if row.kept_at else 202)


class JPEGRenderer(PDFRenderer):
    """Makes JPEG negotiable. The view itself writes the picture."""

    media_type = PICTURE_TYPE
    format = "jpg"


class PictureEndpoint(APIView):
    """The picture that is shown: made anew from what was sent."""

    renderer_classes = (JPEGRenderer,)

    @extend_schema(
        operation_id="getPhotograph",
        parameters=[HASH_PATH_PARAMETER],
        responses={(200, PICTURE_TYPE): OpenApiTypes.BINARY, **problem_responses(401, 404)},
    )
    def get(self, request: Request, sha256: str) -> FileResponse:
        """Return the picture. 404 until it has arrived."""
        return file_response(_photograph_for(request, sha256, "visit.see"))


def _photograph_for(request: Request, sha256: str, action: str) -> DeclaredFile:
    """Return what a photograph that the user may see or send declares. Raises Http404 for any other hash."""
    at = timezone.now()
    declared_photographs = queries.photographs_for(user_of(request), action, at).filter(sha256=sha256)
    photograph = declared_photographs.order_by("portfolio", "id").first()
    if photograph is None:
        raise Http404
    return file_of_photograph(photograph)
