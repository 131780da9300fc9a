"""The history of one boiler, newest first: visits, deficiencies, fittings, settings, decisions, standings."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Q, QuerySet

from fleet.alerts.models import Act as AlertAct
from fleet.board.models import Change
from fleet.deficiencies.models import Act as DeficiencyAct
from fleet.deficiencies.models import Deficiency
from fleet.jobs.models import Act as JobAct
from fleet.jobs.models import Item
from fleet.portfolio import queries as register
from fleet.portfolio.models import Boiler, Fitting, Paper, ServiceState, Setting
from fleet.visits.models import Visit

Place = tuple[datetime, str, UUID]


@dataclass(frozen=True, slots=True)
class Event:
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
class Source:
    """Where events of one kind come from: rows, the column of their instant, and how a row is described.

    `describe_row` gives subject, position, sentence, who and reason.
    """

    what: str
    rows: QuerySet[Any]
    column: str
    told: Callable[[Any], tuple[UUID, UUID | None, str, str, str]]


def events(boiler: Boiler, *, at: datetime, after: Place | None, most: int, visits: bool) -> list[Event]:
    """Return at most `most` events up to `at`, those behind the position `after`; one query for each kind.

    `visits`: whether the reader may see visits.
    """
    found = [e for s in _sources(boiler, at, visits) for e in _taken(s, at, after, most)]
    return sorted(found, key=lambda e: (e.at, e.what, str(e.id)), reverse=True)[:most]


def _taken(source: Source, at: datetime, after: Place | None, most: int) -> Iterator[Event]:
    rows = source.rows.filter(**{f"{source.column}__lte": at})
    if after is not None:
        instant, what, last = after
        behind = Q(**{f"{source.column}__lt": instant})
        if source.what <= what:
            same = Q(**{source.column: instant})
            behind |= same & Q(id__lt=last) if source.what == what else same
        rows = rows.filter(behind)
    for row in rows.order_by(f"-{source.column}", "-id")[:most]:
        subject, position, sentence, who, reason = source.told(row)
        yield Event(getattr(row, source.column), source.what, row.id, subject, position, sentence, who, reason)


def _sources(boiler: Boiler, at: datetime, visits: bool) -> Sequence[Source]:
    return [*_done(boiler, at, visits), *_registered(boiler, at), *_decided(boiler)]


def _done(boiler: Boiler, at: datetime, visits: bool) -> Iterator[Source]:
    if visits:
        made = Visit.objects.filter(boiler=boiler, posted_at__lte=at).select_related("posted_by", "corrected_by")
        yield Source("visit", made, "performed_at", _visit)
    stood = Change.objects.filter(boiler=boiler, kind="standing.changed", recorded_at__lte=at)
    yield Source("standing.changed", stood, "at", _standing)
    found = Deficiency.objects.filter(boiler=boiler, withdrawn=False)
    yield Source("deficiency.opened", found, "opened_at", _deficiency)
    yield Source("deficiency.closed", found.filter(closed_at__isnull=False), "closed_at", _closed)


def _registered(boiler: Boiler, at: datetime) -> Iterator[Source]:
    places = register.positions(Boiler.objects.filter(id=boiler.id)).values("id")
    said = Setting.objects.filter(Q(boiler=boiler) | Q(position__in=places), posted_at__lte=at)
    yield Source("setting", said.select_related("position"), "since", _setting)
    fitted = Fitting.objects.filter(position__in=places, posted_at__lte=at)
    yield Source("fitting", fitted.select_related("position", "device__kind"), "since", _fitting)
    stated = ServiceState.objects.filter(boiler=boiler, posted_at__lte=at)
    yield Source("service_state", stated, "since", lambda s: (s.boiler_id, None, f"{_words(s.state)}.", "", ""))
    papers = Paper.objects.filter(boiler=boiler, posted_at__lte=at)
    yield Source("paper", papers, "since", lambda p: (p.id, None, f"{p.name}, to {p.until.isoformat()}.", "", ""))


def _decided(boiler: Boiler) -> Iterator[Source]:
    of_deficiency = DeficiencyAct.objects.filter(deficiency__boiler=boiler).select_related("deficiency", "by")
    yield Source(
        "deficiency.decided", of_deficiency, "at", lambda a: _act(a, a.deficiency_id, a.deficiency.position_id)
    )
    of_alert = AlertAct.objects.filter(alert__boiler=boiler).select_related("by")
    yield Source("alert.decided", of_alert, "at", lambda a: _act(a, a.alert_id, None))
    asked = Item.objects.filter(boiler=boiler).values("job")
    yield Source("job.decided", JobAct.objects.filter(job__in=asked).select_related("by"), "at", _job)


def _visit(row: Visit) -> tuple[UUID, UUID | None, str, str, str]:
    after = getattr(row, "corrected_by", None)
    note = f" Corrected: visit {after.id} took its place." if after else " It never was." if row.void else ""
    left = f", left {_words(row.left_as).lower()}" if row.left_as else ""
    who = row.posted_by.get_username() if row.posted_by else ""
    return row.id, None, f"{_words(row.kind)}{left}.{note}", who, row.reason


def _standing(row: Change) -> tuple[UUID, UUID | None, str, str, str]:
    before = _words(row.before).lower() or "nothing known"
    return row.subject, None, f"From {before} to {_words(row.after).lower()}: {row.sentence}", row.who, row.reason


def _deficiency(row: Deficiency) -> tuple[UUID, UUID | None, str, str, str]:
    return row.id, row.position_id, row.sentence, "", ""


def _closed(row: Deficiency) -> tuple[UUID, UUID | None, str, str, str]:
    return row.id, row.position_id, f"Closed: {row.sentence}", "", ""


def _setting(row: Setting) -> tuple[UUID, UUID | None, str, str, str]:
    name = row.position.name if row.position else "the boiler"
    value = "places it hangs on" if row.key == "paths" else row.value
    sentence = f"Set on {name}: {row.key} is {value}."
    return row.position_id or row.boiler_id, row.position_id, sentence, "", ""  # type: ignore[return-value]


def _fitting(row: Fitting) -> tuple[UUID, UUID | None, str, str, str]:
    fitted = f"{row.device.kind.name} fitted as {row.position.name}." if row.device else f"No {row.position.name} left."
    return row.device_id or row.position_id, row.position_id, fitted, "", ""


def _act(row: Any, subject: UUID, position: UUID | None) -> tuple[UUID, UUID | None, str, str, str]:
    return subject, position, f"{_words(row.kind)}.", row.by.get_username(), row.reason


def _job(row: JobAct) -> tuple[UUID, UUID | None, str, str, str]:
    return row.job_id, None, f"{_words(row.kind)}.", row.by.get_username(), row.reason


def _words(code: str) -> str:
    return code.replace("_", " ").capitalize()
