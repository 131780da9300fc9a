"""Which release applies, and the catalogue of a release as the rules read it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import lru_cache

from django.conf import settings
from django.db.models import Q

from fleet.catalog.models import Release
from fleet.catalog.parse import read_release, rebuild_catalogue
from fleet.rules.catalogue import Catalogue, SourceSpec


def newest_release_number() -> int | None:
    """Return the number of the newest release, None before the first."""
    return Release.objects.order_by("-number").values_list("number", flat=True).first()


@dataclass(frozen=True, slots=True)
class ReleaseStart:
    """A release and the local day on which it begins (None: it applies to all time)."""

    number: int
    starts_on: date | None


def releases_known_at(known_at: datetime | None = None) -> list[ReleaseStart]:
    """Return the releases, oldest first; with `known_at` those loaded by then, and always the first."""
    rows = Release.objects.order_by("number").values_list("number", "starts_on", "loaded_at")
    return [ReleaseStart(number, day) for number, day, at in rows if number == 1 or known_at is None or at <= known_at]


def release_number_on(day: date) -> int | None:
    """Return the number of the release that applies on a building's local `day`, None before the first is loaded."""
    begun = Release.objects.filter(Q(starts_on=None) | Q(starts_on__lte=day))
    return begun.order_by("-number").values_list("number", flat=True).first()


# Releases never change, so a catalogue is built once per process.
@lru_cache(maxsize=8)
def catalogue_of(number: int) -> Catalogue:
    """Return the catalogue of one release. Raises Release.DoesNotExist for a number that was never loaded."""
    return rebuild_catalogue(Release.objects.get(number=number).content, number)


def catalogue_at(at: datetime) -> Catalogue:
    """Return the release in force on the UTC day of an instant: what doors and pages read. Before any, the first.

    A judgement does not ask here: a later release begins at each building's own midnight (`evidence.gather`).
    Raises Release.DoesNotExist where no catalogue was ever loaded.
    """
    return catalogue_of(release_number_on(at.astimezone(UTC).date()) or 1)


@lru_cache(maxsize=1)
def shipped_sources() -> Mapping[str, SourceSpec]:
    """Return the documents of the catalogue that is shipped with the code, by number.

    A number never changes its document, so titles beside old verdicts are read from here without a query.
    """
    return read_release(settings.ROOT / "fixtures" / "catalogue", 0)[1].sources


def newest_catalogue() -> Catalogue:
    """Return the newest release, in force or still to begin. Raises Release.DoesNotExist before the first."""
    return catalogue_of(newest_release_number() or 1)
