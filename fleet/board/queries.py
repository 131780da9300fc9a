"""Reading the board: the segments that hold at an instant, right even if no worker has run since they were stored."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import Count, Exists, F, Min, OuterRef, Q, QuerySet

from fleet.board.models import Judged, Pulse, Segment, StateSegment
from fleet.catalog import queries as catalog
from fleet.portfolio.models import Boiler, Position, Setting
from fleet.records.row_spans import not_ended
from fleet.rules import BUILD


@dataclass(frozen=True, slots=True)
class BoardRow:
    """One boiler on the board."""

    boiler: Boiler
    standing: str
    rank: int
    reasons: list[dict[str, object]]
    then: str
    since: datetime | None
    until: datetime | None

    @property
    def reason(self) -> str:
        """The first reason's sentence."""
        return str(self.reasons[0]["sentence"])


def holds_at(at: datetime) -> Q:
    """Return a filter for segments that hold at `at`: since <= at < until, where NULL is open."""
    return (Q(since=None) | Q(since__lte=at)) & not_ended(at)


def board_rows(boilers: QuerySet[Boiler], at: datetime) -> list[BoardRow]:
    """Return the board at `at`, worst first, with boilers and buildings, in two queries."""
    segments = Segment.objects.filter(holds_at(at), boiler__in=boilers).select_related("boiler__building__portfolio")
    listed = segments.order_by("rank", "boiler__building__address", "boiler__name", "boiler_id")
    return [
        BoardRow(s.boiler, s.standing, rank=s.rank, reasons=s.reasons, then=s.then, since=s.since, until=s.until)
        for s in listed
    ]


def standing_of(boiler: UUID, at: datetime) -> Segment | None:
    """Return the stored standing of one boiler at `at`; None if it was never judged or `at` lies before it."""
    return Segment.objects.filter(holds_at(at), boiler=boiler).first()


def states_of(boiler: UUID, at: datetime) -> Iterable[StateSegment]:
    """Return the state of each of a boiler's positions at `at`, by name."""
    segments = StateSegment.objects.filter(holds_at(at), boiler=boiler)
    return segments.select_related("position__role").order_by("position__name")


def board_fingerprint(boilers: QuerySet[Boiler], at: datetime) -> tuple[list[tuple[UUID, int, bool]], datetime | None]:
    """Return what the board depends on: the pulses of its portfolios, and the last boundary that time has passed.

    Each pulse has a flag that says whether a boiler there waits to be judged by the present build: its glass is hidden.
    """
    portfolios = boilers.order_by().values("portfolio").distinct()
    old = Judged.objects.filter(portfolio=OuterRef("portfolio")).exclude(build__startswith=BUILD)
    pulse_rows = Pulse.objects.filter(portfolio__in=portfolios).annotate(waiting=Exists(old)).order_by("portfolio_id")
    pulses = list(pulse_rows.values_list("portfolio", "version", "waiting"))
    is_passed = (
        Segment.objects.filter(boiler__in=boilers, since__lte=at).order_by("-since").values_list("since", flat=True)
    )
    return pulses, is_passed.first()


def pulse_version(portfolio: UUID) -> int:
    """Return the version of a portfolio's pulse, 0 before its first change."""
    return Pulse.objects.filter(portfolio=portfolio).values_list("version", flat=True).first() or 0


def boilers_to_judge(build_of: Iterable[tuple[UUID, str]], at: datetime, limit: int) -> list[UUID]:
    """Return the boilers to judge: a boundary has passed, the build is old, or it was never judged.

    Boilers that failed wait for `retry_at`. `build_of` gives each portfolio's present build.
    """
    ready = Q(judged=None) | Q(judged__retry_at=None) | Q(judged__retry_at__lte=at)
    boilers = waiting_boilers(build_of, at).filter(ready).order_by("judged__next_at", "id")
    return list(boilers.values_list("id", flat=True)[:limit])


def waiting_boilers(build_of: Iterable[tuple[UUID, str]], at: datetime) -> QuerySet[Boiler]:
    """Return the boilers whose conclusions are behind, those that failed and wait to be tried again among them."""
    stale = Q(pk__in=())
    for portfolio, build in build_of:
        stale |= Q(portfolio=portfolio) & ~Q(judged__build=build)
    return Boiler.objects.filter(Q(judged=None) | Q(judged__next_at__lte=at) | stale)


def passed_boundaries(boilers: QuerySet[Boiler], at: datetime) -> tuple[int, datetime | None]:
    """Return how many of the boilers were not judged since a boundary that lies at or before `at`, and the oldest."""
    waiting = Judged.objects.filter(boiler__in=boilers, next_at__lte=at)
    counted = waiting.aggregate(count=Count("id"), oldest=Min("next_at"))
    return counted["count"], counted["oldest"]


def last_judgement(boiler: UUID) -> Judged | None:
    """Return when and by which build a boiler was last judged; None if never."""
    return Judged.objects.filter(boiler=boiler).first()


def standing_from(boiler: UUID, at: datetime) -> list[Segment]:
    """Return the standing at `at` and those that follow if nobody does anything."""
    to_come = Segment.objects.filter(not_ended(at), boiler=boiler)
    return list(to_come.order_by(F("since").asc(nulls_first=True)))


@dataclass(frozen=True, slots=True)
class BoilerPlace:
    """One position's state at an instant and the names of the paths it hangs on."""

    segment: StateSegment
    paths: list[str]


def position_states(boiler: UUID, at: datetime) -> list[BoilerPlace]:
    """Return a boiler's positions at `at`, by the order in which they act, paths last."""
    release = catalog.catalogue_at(at)
    listed = [(release.roles[s.position.role_id], s) for s in states_of(boiler, at)]
    listed.sort(key=lambda pair: (pair[0].part.endswith("path"), pair[0].hazard, pair[0].order, pair[1].position.name))
    paths = _path_names([s.position_id for _, s in listed], at)
    return [BoilerPlace(s, paths.get(s.position_id, [])) for _, s in listed]


def _path_names(positions: list[UUID], at: datetime) -> dict[UUID, list[str]]:
    """Return what each position hangs on at `at`; of two statements about one instant the one posted later holds."""
    statements = Setting.objects.filter(position__in=positions, key="paths", since__lte=at).order_by(
        "since", "posted_at"
    )
    newest = dict(statements.values_list("position", "value"))
    path_ids = {path for value in newest.values() for path in value}
    names = {str(i): name for i, name in Position.objects.filter(id__in=path_ids).values_list("id", "name")}
    return {position: [names[path] for path in value] for position, value in newest.items()}
