"""The history of one boiler, newest first: visits, deficiencies, fittings, settings, decisions, standings."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Q, QuerySet

from fleet.alerts.models import AlertAct
from fleet.board.models import Change
from fleet.deficiencies.models import Deficiency, DeficiencyAct
from fleet.jobs.models import Item, JobAct
from fleet.portfolio import queries as register
from fleet.portfolio.models import Boiler, Fitting, Paper, ServiceState, Setting
from fleet.records.row_order import rows_after
from fleet.visits.models import Visit

HistoryPosition = tuple[datetime, str, UUID]


@dataclass(frozen=True, slots=True)
class HistoryEvent:
    """One event in the history of a boiler; `subject` is the id of the resource it is about."""

    at: datetime
    what: str
    id: UUID
    subject: UUID
    position: UUID | None
    sentence: str
    who: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True)
class HistorySource:
    """Where events of one kind come from: rows, the column of their instant, and how a row is described.

    `describe_row` gives subject, position, sentence, who and reason.
    """

    what: str
    rows: QuerySet[Any]
    column: str
    describe_row: Callable[[Any], tuple[UUID, UUID | None, str, str, str]]


def history_events(
    boiler: Boiler, *, at: datetime, after: HistoryPosition | None, most: int, visits: bool
) -> list[HistoryEvent]:
    """Return at most `most` events up to `at`, those behind the position `after`; one query for each kind.

    `visits`: whether the reader may see visits.
    """
    events = [e for s in _history_sources(boiler, at, visits) for e in _source_events(s, at, after, most)]
    return sorted(events, key=lambda e: (e.at, e.what, str(e.id)), reverse=True)[:most]


def _source_events(
    source: HistorySource, at: datetime, after: HistoryPosition | None, most: int
) -> Iterator[HistoryEvent]:
    rows = source.rows.filter(**{f"{source.column}__lte": at})
    if after is not None:
        instant, what, last = after
        if source.what == what:
            rows = rows.filter(rows_after((f"-{source.column}", "-id"), (instant, last)))
        else:  # compared here: the database may order texts in another way
            rows = rows.filter(**{f"{source.column}__{'lte' if source.what < what else 'lt'}": instant})
    for row in rows.order_by(f"-{source.column}", "-id")[:most]:
        subject, position, sentence, who, reason = source.describe_row(row)
        yield HistoryEvent(
            getattr(row, source.column),
            source.what,
            id=row.id,
            subject=subject,
            position=position,
            sentence=sentence,
            who=who,
            reason=reason,
        )


def _history_sources(boiler: Boiler, at: datetime, visits: bool) -> Sequence[HistorySource]:
    return [*_conclusion_sources(boiler, at, visits), *_register_sources(boiler, at), *_decision_sources(boiler)]


def _conclusion_sources(boiler: Boiler, at: datetime, visits: bool) -> Iterator[HistorySource]:
    if visits:
        posted_visits = Visit.objects.filter(boiler=boiler, posted_at__lte=at).select_related(
            "posted_by", "corrected_by"
        )
        yield HistorySource("visit", posted_visits, "performed_at", _describe_visit)
    standing_changes = Change.objects.filter(boiler=boiler, kind="standing.changed", recorded_at__lte=at)
    yield HistorySource("standing.changed", standing_changes, "at", _describe_standing)
    deficiencies = Deficiency.objects.filter(boiler=boiler, withdrawn=False)
    yield HistorySource("deficiency.opened", deficiencies, "opened_at", _describe_deficiency)
    yield HistorySource(
        "deficiency.closed", deficiencies.filter(closed_at__isnull=False), "closed_at", _describe_closing
    )


def _register_sources(boiler: Boiler, at: datetime) -> Iterator[HistorySource]:
    places = register.positions_of(Boiler.objects.filter(id=boiler.id)).values("id")
    settings = Setting.objects.filter(Q(boiler=boiler) | Q(position__in=places), posted_at__lte=at)
    yield HistorySource("setting", settings.select_related("position"), "since", _describe_setting)
    fittings = Fitting.objects.filter(position__in=places, posted_at__lte=at)
    yield HistorySource("fitting", fittings.select_related("position", "device__kind"), "since", _describe_fitting)
    service_states = ServiceState.objects.filter(boiler=boiler, posted_at__lte=at)
    yield HistorySource(
        "service_state", service_states, "since", lambda s: (s.boiler_id, None, f"{_in_words(s.state)}.", "", "")
    )
    papers = Paper.objects.filter(boiler=boiler, posted_at__lte=at)
    yield HistorySource(
        "paper", papers, "since", lambda p: (p.id, None, f"{p.name}, to {p.until.isoformat()}.", "", "")
    )


def _decision_sources(boiler: Boiler) -> Iterator[HistorySource]:
    of_deficiency = DeficiencyAct.objects.filter(deficiency__boiler=boiler).select_related("deficiency", "by")
    yield HistorySource(
        "deficiency.decided", of_deficiency, "at", lambda a: _describe_act(a, a.deficiency_id, a.deficiency.position_id)
    )
    of_alert = AlertAct.objects.filter(alert__boiler=boiler).select_related("by")
    yield HistorySource("alert.decided", of_alert, "at", lambda a: _describe_act(a, a.alert_id, None))
    jobs_of_boiler = Item.objects.filter(boiler=boiler).values("job")
    yield HistorySource(
        "job.decided", JobAct.objects.filter(job__in=jobs_of_boiler).select_related("by"), "at", _describe_job_act
    )


def _describe_visit(row: Visit) -> tuple[UUID, UUID | None, str, str, str]:
    after = getattr(row, "corrected_by", None)
    note = f" Corrected: visit {after.id} took its place." if after else " It never was." if row.void else ""
    left = f", left {_in_words(row.left_as).lower()}" if row.left_as else ""
    poster = row.posted_by.get_username() if row.posted_by else ""
    return row.id, None, f"{_in_words(row.kind)}{left}.{note}", poster, row.reason


def _describe_standing(row: Change) -> tuple[UUID, UUID | None, str, str, str]:
    before = _in_words(row.before).lower() or "nothing known"
    return row.subject, None, f"From {before} to {_in_words(row.after).lower()}: {row.sentence}", row.who, row.reason


def _describe_deficiency(row: Deficiency) -> tuple[UUID, UUID | None, str, str, str]:
    return row.id, row.position_id, row.sentence, "", ""


def _describe_closing(row: Deficiency) -> tuple[UUID, UUID | None, str, str, str]:
    return row.id, row.position_id, f"Closed: {row.sentence}", "", ""


def _describe_setting(row: Setting) -> tuple[UUID, UUID | None, str, str, str]:
    name = row.position.name if row.position else "the boiler"
    value = "places it hangs on" if row.key == "paths" else row.value
    sentence = f"Set on {name}: {row.key} is {value}."
    return row.position_id or row.boiler_id, row.position_id, sentence, "", ""  # type: ignore[return-value]


def _describe_fitting(row: Fitting) -> tuple[UUID, UUID | None, str, str, str]:
    fitted = f"{row.device.kind.name} fitted as {row.position.name}." if row.device else f"No {row.position.name} left."
    return row.device_id or row.position_id, row.position_id, fitted, "", ""


def _describe_act(row: Any, subject: UUID, position: UUID | None) -> tuple[UUID, UUID | None, str, str, str]:
    return subject, position, f"{_in_words(row.kind)}.", row.by.get_username(), row.reason


def _describe_job_act(row: JobAct) -> tuple[UUID, UUID | None, str, str, str]:
    return row.job_id, None, f"{_in_words(row.kind)}.", row.by.get_username(), row.reason


def _in_words(code: str) -> str:
    return code.replace("_", " ").capitalize()
