"""Endpoints of the catalogue's procedures: steps, cautions, readings, intervals, qualifications, adopted terms."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

from django.http import Http404
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.request import Request

from api.asked import asked
from api.pages import List, PageSerializer, Walk, described
from api.sheet import ToReadSerializer
from api.single import Single, described_one
from api.strict import IdField, StrictSerializer
from fleet.accounts import policy
from fleet.catalog import queries as catalog
from fleet.rules.catalogue import Catalogue, ReadingSpec, Variant
from fleet.rules.catalogue import Procedure as Row
from fleet.terms import queries as terms
from fleet.terms.adopted import Adopted, adopted, variants

ONE = OpenApiParameter("code", str, OpenApiParameter.PATH)
SIDES = ("water", "pressure", "fire", "season")
PROOFS = ("full", "partial", "due_only", "none")
CAUTION = "Local codes, the maker's instructions and a licensed person decide; where they say otherwise, do that."


class ByPortfolioSerializer(StrictSerializer):
    """The portfolio whose terms are added."""

    portfolio = IdField(required=False, help_text="Adds what this portfolio adopted.")


class ProceduresAskedSerializer(PageSerializer):
    """Filters of the list of procedures, and the portfolio whose terms are added."""

    portfolio = IdField(required=False, help_text="Adds what this portfolio adopted.")
    side = serializers.ChoiceField(choices=SIDES, required=False)


class VariantSerializer(serializers.Serializer[Any]):
    """Another published interval. `due_only`: missing it makes a device due but never lapsed."""

    name = serializers.CharField()
    interval = serializers.CharField()
    anchor = serializers.CharField(allow_blank=True)
    grace_days = serializers.IntegerField()
    due_only = serializers.BooleanField()
    source = serializers.CharField()


class OwnSerializer(serializers.Serializer[Any]):
    """A portfolio's own written interval."""

    interval = serializers.CharField()
    anchor = serializers.CharField(allow_blank=True)
    grace_days = serializers.IntegerField()
    source = serializers.CharField()


class HereSerializer(serializers.Serializer[Any]):
    """What holds in the portfolio asked for. An empty `interval` means there is none."""

    variant = serializers.CharField(allow_blank=True)
    override = OwnSerializer(allow_null=True)
    interval = serializers.CharField(allow_blank=True)
    anchor = serializers.CharField(allow_blank=True)
    grace_days = serializers.IntegerField()


class ProcedureSerializer(serializers.Serializer[Any]):
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
    source = serializers.CharField(source="row.source")
    adopted = HereSerializer(allow_null=True)


@dataclass(frozen=True, slots=True)
class Told:
    """A procedure of a release, with what a portfolio adopted for it."""

    row: Row
    catalogue: Catalogue
    adopted: Adopted | None

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
        return variants(self.row, self.catalogue)

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


def told(request: Request, portfolio: UUID | None, now: datetime, at: datetime) -> list[Told]:
    """Return all procedures of the release in force, with a portfolio's terms where one is given.

    Raises Http404 for a portfolio whose terms may not be seen.
    """
    release = catalog.catalogue_of(catalog.current(at.astimezone(UTC).date()) or 1)
    if portfolio is None:
        return [Told(row, release, None) for row in release.procedures.values()]
    if not policy.grants(request.user, "terms.see", now).filter(portfolio=portfolio).exists():
        raise Http404
    own = terms.in_force(portfolio, "UTC", at)
    return [Told(row, release, adopted(row, own, release)) for row in release.procedures.values()]


class OfCatalogue:
    """Mixed into endpoints of the catalogue: their ETags depend on the release, not on grants alone."""

    def beside(self, at: datetime) -> tuple[Any, ...]:
        """Return the release of the day (UTC)."""
        return (catalog.current(at.astimezone(UTC).date()),)


@described("listProcedures", codes=(400, 401, 404, 422))
class Procedures(OfCatalogue, List):
    """The catalogue's procedures."""

    form, item, action, order = ProceduresAskedSerializer, ProcedureSerializer, "terms.see", ("code",)

    def found(self, request: Request, walk: Walk, **where: UUID) -> list[Told]:
        """Return the procedures of the release in force."""
        given = walk.given
        rows = told(request, given.get("portfolio"), walk.now, walk.at)
        return [t for t in rows if given.get("side", t.row.side) == t.row.side]


@described_one("getProcedure", ONE, ByPortfolioSerializer, codes=(400, 401, 404))
class Procedure(OfCatalogue, Single):
    """One procedure."""

    item, action = ProcedureSerializer, "terms.see"

    def one(self, request: Request, at: datetime, **where: str) -> Told:
        """Return the procedure of the release in force. Raises Http404 for an unknown code."""
        portfolio = asked(request, ByPortfolioSerializer).get("portfolio")
        found = next((t for t in told(request, portfolio, at, at) if t.code == where["code"]), None)
        if found is None:
            raise Http404
        return found
