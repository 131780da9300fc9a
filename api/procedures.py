"""Endpoints of the catalogue's procedures: steps, cautions, readings, intervals, qualifications, adopted terms."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from uuid import UUID

from django.http import Http404
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.request import Request

from api.http.detail_endpoints import DetailEndpoint, describe_detail
from api.http.paged_lists import ListEndpoint, ListWalk, PageSerializer, describe_list
from api.http.query_validation import validate_query
from api.http.strict import IdField, StrictSerializer
from api.sheet import ToReadSerializer
from fleet.accounts import policy
from fleet.accounts.requests import user_of
from fleet.catalog import queries as catalog
from fleet.rules.catalogue import Catalogue, ReadingSpec, Variant
from fleet.rules.catalogue import ProcedureSpec as Row
from fleet.terms import queries as terms
from fleet.terms.adopted_intervals import AdoptedInterval, adopted_interval, published_variants

PROCEDURE_PATH_PARAMETER = OpenApiParameter("code", str, OpenApiParameter.PATH)
SIDES = ("water", "pressure", "fire", "season")
PROOFS = ("full", "partial", "due_only", "none")
CAUTION = "Local codes, the maker's instructions and a licensed person decide; where they say otherwise, do that."


class ProcedureQuerySerializer(StrictSerializer):
    """The portfolio whose terms are added."""

    portfolio = IdField(required=False, help_text="Adds what this portfolio adopted.")


class ProceduresQuerySerializer(PageSerializer):
    """Filters of the list of procedures, and the portfolio whose terms are added."""

    portfolio = IdField(required=False, help_text="Adds what this portfolio adopted.")
    side = serializers.ChoiceField(choices=SIDES, required=False)


class VariantSerializer(serializers.Serializer[object]):
    """Another published interval. `due_only`: missing it makes a device due but never lapsed."""

    name = serializers.CharField()
    interval = serializers.CharField()
    anchor = serializers.CharField(allow_blank=True)
    grace_days = serializers.IntegerField()
    due_only = serializers.BooleanField()
    source = serializers.CharField()  # type: ignore[assignment]


class OwnSerializer(serializers.Serializer[object]):
    """A portfolio's own written interval."""

    interval = serializers.CharField()
    anchor = serializers.CharField(allow_blank=True)
    grace_days = serializers.IntegerField()
    source = serializers.CharField()  # type: ignore[assignment]


class HereSerializer(serializers.Serializer[object]):
    """What holds in the portfolio asked for. An empty `interval` means there is none."""

    variant = serializers.CharField(allow_blank=True)
    override = OwnSerializer(allow_null=True)
    interval = serializers.CharField(allow_blank=True)
    anchor = serializers.CharField(allow_blank=True)
    grace_days = serializers.IntegerField()


class ProcedureSerializer(serializers.Serializer[object]):
    """A test or inspection. `interval` is written as "1 w" or "12 mo". `source` says where its content comes from."""

    code = serializers.CharField(source="row.code")
    name = serializers.CharField(source="row.name")
    release = serializers.IntegerField()
    side = serializers.ChoiceField(choices=SIDES, source="row.side")
    kinds = serializers.ListField(child=serializers.CharField())
    proof = serializers.ChoiceField(choices=PROOFS, source="row.proof")
    cautions = serializers.CharField(allow_blank=True)
    steps = serializers.ListField(child=serializers.CharField(), source="row.steps")
    readings = ToReadSerializer(many=True)
    interval = serializers.CharField(allow_blank=True)
    anchor = serializers.CharField(allow_blank=True, source="row.anchor")
    grace_days = serializers.IntegerField(source="row.grace_days")
    who = serializers.ListField(child=serializers.CharField())
    people = serializers.IntegerField(source="row.people")
    minutes = serializers.IntegerField(source="row.minutes")
    covers = serializers.ListField(child=serializers.CharField())
    voids = serializers.CharField(allow_blank=True, source="row.voids")
    tools = serializers.ListField(child=serializers.CharField(), source="row.tools")
    parts = serializers.ListField(child=serializers.CharField(), source="row.parts")
    variants = VariantSerializer(many=True)
    source = serializers.CharField(source="row.source")  # type: ignore[assignment]
    interval_source = serializers.CharField(
        source="row.interval_source", allow_blank=True, help_text="Where the interval is from. Grace: common practice."
    )
    adopted = HereSerializer(allow_null=True)


@dataclass(frozen=True, slots=True)
class ProcedureItem:
    """A procedure of a release, with what a portfolio adopted for it."""

    row: Row
    catalogue: Catalogue
    adopted: AdoptedInterval | None

    @property
    def code(self) -> str:
        """The code, by which lists are sorted."""
        return self.row.code

    @property
    def release(self) -> int:
        """Number of the catalogue's release."""
        return self.catalogue.release

    @property
    def cautions(self) -> str:
        """The procedure's own caution and the general one."""
        return f"{self.row.caution} {CAUTION}".strip()

    @property
    def readings(self) -> Sequence[ReadingSpec]:
        """Readings in the catalogue's order."""
        return list(self.row.readings.values())

    @property
    def interval(self) -> str:
        """The interval as text, empty without one."""
        return str(self.row.interval or "")

    @property
    def variants(self) -> list[Variant]:
        """Published variants, sorted by name."""
        return published_variants(self.row, self.catalogue)

    @property
    def kinds(self) -> list[str]:
        """Kinds of device, sorted."""
        return sorted(self.row.kinds)

    @property
    def who(self) -> list[str]:
        """Qualifications, sorted."""
        return sorted(self.row.who)

    @property
    def covers(self) -> list[str]:
        """Procedures that this one covers, sorted."""
        return sorted(self.row.covers)


def present_procedures(request: Request, portfolio: UUID | None, now: datetime, at: datetime) -> list[ProcedureItem]:
    """Return all procedures of the release in force, with a portfolio's terms where one is given.

    Raises Http404 for a portfolio whose terms may not be seen.
    """
    release = catalog.catalogue_at(at)
    if portfolio is None:
        return [ProcedureItem(row, release, None) for row in release.procedures.values()]
    if not policy.grants_for(user_of(request), "terms.see", now).filter(portfolio=portfolio).exists():
        raise Http404
    adopted_terms = terms.terms_in_force(portfolio, "UTC", at)
    return [
        ProcedureItem(row, release, adopted_interval(row, adopted_terms, release))
        for row in release.procedures.values()
    ]


class CatalogueTagMixin:
    """Mixed into endpoints of the catalogue: their ETags depend on the release, not on grants alone."""

    def get_tag_parts(self, at: datetime) -> tuple[object, ...]:
        """Return the release of the day (UTC)."""
        return (catalog.release_number_on(at.astimezone(UTC).date()),)


@describe_list("listProcedures", codes=(400, 401, 404, 422))
class ProcedureListEndpoint(CatalogueTagMixin, ListEndpoint):
    """The catalogue's procedures."""

    query_serializer, item_serializer, action, order = (
        ProceduresQuerySerializer,
        ProcedureSerializer,
        "terms.see",
        ("code",),
    )

    def find_rows(self, request: Request, walk: ListWalk, **where: UUID) -> list[ProcedureItem]:
        """Return the procedures of the release in force."""
        query = walk.query
        rows = present_procedures(request, query.get("portfolio"), walk.now, walk.at)
        return [t for t in rows if query.get("side", t.row.side) == t.row.side]


@describe_detail("getProcedure", PROCEDURE_PATH_PARAMETER, ProcedureQuerySerializer, codes=(400, 401, 404))
class ProcedureEndpoint(CatalogueTagMixin, DetailEndpoint):
    """One procedure."""

    item_serializer, action = ProcedureSerializer, "terms.see"

    def find_item(self, request: Request, at: datetime, **where: str) -> ProcedureItem:
        """Return the procedure of the release in force. Raises Http404 for an unknown code."""
        portfolio = validate_query(request, ProcedureQuerySerializer).get("portfolio")
        procedure = next((t for t in present_procedures(request, portfolio, at, at) if t.code == where["code"]), None)
        if procedure is None:
            raise Http404
        return procedure
