"""Endpoints of shared links: sharing a report with who has no account, which links one has, ending one."""

from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.http import Http404
from django.urls import reverse
from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.answers import problem_responses
from api.http.strict import IdField, StrictSerializer, WholeNumberField, validate_body
from fleet.accounts.requests import user_of
from fleet.reports import shared_links
from fleet.reports.models import REPORT_KINDS, SharedLink

NEW_LINK_EXAMPLE: dict[str, object] = {
    "kind": "boiler_year",
    "subject": "0198f3c2-7c1e-7b7a-9a54-2f6d3f0c9a11",
    "days": 30,
}


class NewSharedLinkSerializer(StrictSerializer):
    """A link to make: a visit's report, a year of a boiler, or a portfolio on one page; its id; for how many days."""

    kind = serializers.ChoiceField(choices=REPORT_KINDS)
    subject = IdField(help_text="The id of the visit, of the boiler, or of the portfolio.")
    days = WholeNumberField(
        min_value=1, max_value=shared_links.MAX_DAYS, required=False, default=shared_links.DEFAULT_DAYS
    )


class SharedLinkSerializer(serializers.Serializer[object]):
    """A link in force. Its address is a secret and is shown only once, when the link is made."""

    id = serializers.UUIDField()
    kind = serializers.ChoiceField(choices=REPORT_KINDS)
    subject = serializers.SerializerMethodField()
    portfolio = serializers.UUIDField(source="portfolio_id")
    made_at = serializers.DateTimeField()
    expires_at = serializers.DateTimeField()

    @extend_schema_field(serializers.UUIDField())
    def get_subject(self, row: SharedLink) -> str:
        """Return the id of what the report is about."""
        return str(row.visit_id or row.boiler_id or row.portfolio_id)


class MadeSharedLinkSerializer(SharedLinkSerializer):
    """A new link with its address."""

    address = serializers.URLField()


class SharedLinkListEndpoint(APIView):
    """The shared links of the caller."""

    @extend_schema(
        operation_id="listSharedLinks", responses={200: SharedLinkSerializer(many=True), **problem_responses(401)}
    )
    def get(self, request: Request) -> Response:
        """Return the links in force, the newest first, without their addresses."""
        links = shared_links.links_of(user_of(request), timezone.now())
        return Response(SharedLinkSerializer(links, many=True).data)

    @extend_schema(
        operation_id="createSharedLink",
        request=NewSharedLinkSerializer,
        responses={201: MadeSharedLinkSerializer, **problem_responses(400, 401, 403, 404, 409, 413, 415, 503)},
        examples=[OpenApiExample("A boiler's year for its insurer", value=NEW_LINK_EXAMPLE, request_only=True)],
    )
    def post(self, request: Request) -> Response:
        """Share a report. Whoever has the address reads it without an account, until it ends."""
        _require_unrestricted_key(request)
        at, user = timezone.now(), user_of(request)
        data = validate_body(request, NewSharedLinkSerializer)
        subject = shared_links.find_subject(user, data["kind"], data["subject"], at)
        if subject is None:
            raise Http404
        new_link = shared_links.share_report(subject=subject, by=user, days=data["days"], at=at)
        address = request.build_absolute_uri(reverse("shared-report", args=[new_link.secret]))
        body = {**SharedLinkSerializer(new_link.link).data, "address": address}
        return Response(body, status=201, headers={"Cache-Control": "no-store"})


class SharedLinkEndpoint(APIView):
    """One shared link."""

    @extend_schema(operation_id="endSharedLink", responses={204: None, **problem_responses(401, 403, 404)})
    def delete(self, request: Request, link: UUID) -> Response:
        """End the link. Its address answers 404 from now on."""
        _require_unrestricted_key(request)
        if not shared_links.end_link(link=link, by=user_of(request), at=timezone.now()):
            raise Http404
        return Response(status=204)


def _require_unrestricted_key(request: Request) -> None:
    """Refuse restricted keys. An address outlives its key, so it must not reach further than the key did."""
    reach = user_of(request).reach
    if reach is not None and (reach.scopes is not None or reach.portfolio is not None):
        raise PermissionDenied
