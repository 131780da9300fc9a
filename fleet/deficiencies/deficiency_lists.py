"""Querying deficiencies for lists, by their class at an instant and by status."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from uuid import UUID

from django.db.models import Case, Exists, F, Func, IntegerField, OuterRef, Q, QuerySet, TextField, Value, When

from fleet.deficiencies.life import acts_by_episode, episodes_of_rows, life_at
from fleet.deficiencies.models import Deficiency, DeficiencyAct
from fleet.deficiencies.queries import DeficiencyDetail
from fleet.portfolio.models import Boiler
from fleet.rules.values import Level

STATUSES = ("open", "repaired", "closed", "withdrawn", "deferred")


class LevelAt(Func):
    """The class at an instant, like `life.level_at`: the last one begun, else the first; NULL without classes."""

    # The two expressions are the levels and the instant; n is the number of a segment.
    arg_joiner = ") WITH ORDINALITY AS segments(s, n), (SELECT CAST("
    template = (
        "(SELECT s->>'level' FROM jsonb_array_elements(%(expressions)s AS timestamptz) AS at) AS asked "
        "ORDER BY (s->>'since')::timestamptz <= asked.at DESC, "
        "CASE WHEN (s->>'since')::timestamptz <= asked.at THEN -n ELSE n END LIMIT 1)"
    )
    output_field = TextField()


def deficiencies_at(boilers: QuerySet[Boiler], at: datetime) -> QuerySet[Deficiency]:
    """Return the deficiencies of these boilers opened by `at`, with `level_now` and `rank` (0 worst)."""
    ranks = [When(level_now=level.value, then=Value(rank)) for rank, level in enumerate(Level)]
    rows = Deficiency.objects.filter(boiler__in=boilers, opened_at__lte=at)
    rows = rows.annotate(level_now=LevelAt(F("levels"), Value(at)))
    return rows.annotate(rank=Case(*ranks, default=Value(len(Level)), output_field=IntegerField()))


def rows_of_status(rows: QuerySet[Deficiency], status: str, at: datetime) -> QuerySet[Deficiency]:
    """Return the rows that may have this status at `at`; `matches_status` then checks acts row by row."""
    past, is_gone = Q(closed_at__isnull=False, closed_at__lte=at), Q(withdrawn=True)
    decided = DeficiencyAct.objects.filter(
        deficiency__boiler=OuterRef("boiler"), deficiency__rule=OuterRef("rule"), at__lte=at
    )
    narrowed = {
        "open": ~past & ~is_gone,
        "repaired": ~past & ~is_gone & (Q(repaired_at__isnull=False) | Exists(decided.filter(kind="repair_reported"))),
        "closed": past & ~is_gone,
        "withdrawn": is_gone,
        "deferred": ~past & ~is_gone & Exists(decided.filter(kind="deferred")),
    }
    return rows.filter(narrowed[status])


def deficiency_details(rows: Sequence[Deficiency], at: datetime) -> list[DeficiencyDetail]:
    """Return each row with its status and the acts about it, as of `at`: two queries."""
    boilers = {row.boiler_id for row in rows}
    columns = ("boiler_id", "position_id", "rule", "opened_at", "closed_at", "withdrawn")
    episodes = _by_boiler(Deficiency.objects.filter(boiler__in=boilers).only("id", *columns))
    about = DeficiencyAct.objects.filter(deficiency__boiler__in=boilers, at__lte=at)
    about = about.select_related("deficiency", "by", "assignee").order_by("at", "acted_on", "id")
    decided: dict[UUID, list[DeficiencyAct]] = {}
    for act in about:
        decided.setdefault(act.deficiency.boiler_id, []).append(act)
    acts: dict[UUID, list[DeficiencyAct]] = {}
    for boiler, boiler_acts in decided.items():
        acts |= acts_by_episode(boiler_acts, episodes_of_rows(episodes[boiler]))
    return [
        DeficiencyDetail(row, life_at(_as_of(row, at), acts.get(row.id, []), at), acts.get(row.id, [])) for row in rows
    ]


def matches_status(detail: DeficiencyDetail, status: str) -> bool:
    """Whether the acts give the deficiency this status too."""
    if status == "repaired":
        return detail.life.status == "repaired"
    return detail.life.deferred_until is not None if status == "deferred" else True


def _by_boiler(rows: Iterable[Deficiency]) -> dict[UUID, list[Deficiency]]:
    grouped: dict[UUID, list[Deficiency]] = {}
    for row in rows:
        grouped.setdefault(row.boiler_id, []).append(row)
    return grouped


def _as_of(row: Deficiency, at: datetime) -> Deficiency:
    """Return the row as of `at`: a closing after `at` is removed."""
    if row.closed_at is not None and row.closed_at > at:
        row.closed_at = row.closed_by_id = None
    return row
