"""Endpoints of the files of papers of others: sending one whole or in pieces, what has arrived, and the file itself."""

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
from api.photos import JPEGRenderer
from api.visit_report import PDFRenderer
from fleet.accounts.requests import user_of
from fleet.files import queries
from fleet.files.declared import PDF_TYPE, PICTURE_TYPE, DeclaredFile, file_of_paper
from fleet.files.services import take_piece


class PaperFileEndpoint(APIView):
    """The file that a paper of others declares: a PDF, or a photograph of the paper."""

    parser_classes = (BytesParser,)

    @extend_schema(
        operation_id="getPaperFileArrival",
        parameters=[HASH_PATH_PARAMETER],
        responses={200: ArrivalSerializer, **problem_responses(401, 404)},
    )
    def get(self, request: Request, sha256: str) -> Response:
        """Return how many bytes have arrived: from there a sender goes on after a break."""
        return Response(arrival_json(_paper_file_for(request, sha256, "visit.see")))

    @extend_schema(
        operation_id="sendPaperFile",
        parameters=[HASH_PATH_PARAMETER, RANGE_HEADER],
        request={"application/octet-stream": OpenApiTypes.BINARY},
        responses={
            201: ArrivalSerializer,
            202: ArrivalSerializer,
            **problem_responses(400, 401, 403, 404, 409, 413, 422, 503),
        },
    )
    def put(self, request: Request, sha256: str) -> Response:
        """Send the file or the next piece of it. 202 while bytes are missing, 201 once it is whole and checked.

        422 `not_a_pdf` for what is no PDF that can be opened, `encrypted_pdf` for one that asks for a password.
        """
        declared, piece = _paper_file_for(request, sha256, "visit.post"), sent_piece(request)
        at = timezone.now()
        row = run_with_retries(lambda: take_piece(declared=declared, piece=piece, by=user_of(request), at=at))
        return Response(arrival_json(declared, row), status=201 if row.kept_at else 202)


class PaperContentEndpoint(APIView):
    """The file itself: a PDF as it was sent, a photograph made anew."""

    renderer_classes = (PDFRenderer, JPEGRenderer)

    @extend_schema(
        operation_id="getPaperFile",
        parameters=[HASH_PATH_PARAMETER],
        responses={
            (200, PDF_TYPE): OpenApiTypes.BINARY,
            (200, PICTURE_TYPE): OpenApiTypes.BINARY,
            **problem_responses(401, 404),
        },
    )
    def get(self, request: Request, sha256: str) -> FileResponse:
        """Return the file to be saved; no page of this site shows it. 404 until it has arrived."""
        return file_response(_paper_file_for(request, sha256, "visit.see"))


def _paper_file_for(request: Request, sha256: str, action: str) -> DeclaredFile:
    """Return the file of a paper that the user may see or send. Raises Http404 for any other hash."""
    papers = queries.papers_for(user_of(request), action, timezone.now()).filter(file_sha256=sha256)
    paper = papers.order_by("portfolio", "id").first()
    if paper is None:
        raise Http404
    return file_of_paper(paper)
