"""The endpoint of a visit's report as PDF."""

from collections.abc import Mapping
from uuid import UUID

from django.http import Http404, HttpResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request
from rest_framework.views import APIView

from api.http.answers import problem_responses
from fleet.accounts import policy
from fleet.accounts.requests import user_of
from fleet.assessments.report import render_pdf
from fleet.visits import queries

PDF_TYPE = "application/pdf"


class PDFRenderer(BaseRenderer):
    """Makes PDF negotiable. The view itself writes the PDF."""

    media_type = PDF_TYPE
    format = "pdf"
    charset = None
    render_style = "binary"

    def render(
        self, data: object, accepted_media_type: str | None = None, context: Mapping[str, object] | None = None
    ) -> bytes:
        """Return JSON: only problems are rendered here."""
        return JSONRenderer().render(data)


class VisitReportEndpoint(APIView):
    """The report of one visit."""

    renderer_classes = (PDFRenderer, JSONRenderer)

    @extend_schema(
        operation_id="getVisitReport",
        responses={(200, PDF_TYPE): OpenApiTypes.BINARY, **problem_responses(401, 404)},
    )
    def get(self, request: Request, visit: UUID) -> HttpResponse:
        """Return the report: cautions, as found against as left, what is missing, entries with limits and sources."""
        at = timezone.now()
        visits = queries.visits_to(policy.boilers_for(user_of(request), "visit.see", at))
        visit_row = visits.filter(id=visit).first()
        if visit_row is None:
            raise Http404
        headers = {"Content-Disposition": f'attachment; filename="visit-{visit_row.id}.pdf"'}
        return HttpResponse(render_pdf(visit_row, at), content_type=PDF_TYPE, headers=headers)
