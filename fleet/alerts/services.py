"""Reconciling alerts: stored rows are made equal to the rules' conditions; only differences are written."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from fleet.alerts.acts import LEVEL_RANKS, effect_of_acts
from fleet.alerts.matching import end_by, match_alerts
from fleet.alerts.models import Alert, AlertAct
from fleet.portfolio.models import Boiler
from fleet.records.events import ChangeEvent
from fleet.rules.values import Condition

UNJUDGED = "cannot_be_judged"  # raised by the sweep itself, not by the rules
Values = dict[str, Any]


PORTFOLIO_CONDITIONS = ("not_surveyed", "not_on_record")
# That alerts reach nobody: known to the notices, not to the rules.
SILENCE_CONDITIONS = ("nobody_to_tell", "notices_failing")


@dataclass(frozen=True, slots=True)
class Reconciled:
    """Rows written, the events, and when shelvings will end by time alone."""

    written: int
    events: Sequence[ChangeEvent]
    shelves_end: Sequence[datetime]


def reconcile_boiler(*, boiler: Boiler, conditions: Sequence[Condition], at: datetime) -> Reconciled:
    """Make the boiler's alerts equal to the conditions that have begun by `at`.

    A condition that came and went while no worker ran gets the row it would have had. A row keeps its id and its acts
    when late evidence moves it. A row whose cause a correction took away is withdrawn; it returns with its cause.
    """
    return _reconcile_scope({"portfolio_id": boiler.portfolio_id, "boiler_id": boiler.id}, conditions, at)


def reconcile_portfolio(*, portfolio: UUID, conditions: Sequence[Condition], at: datetime) -> Reconciled:
    """Do the same for the portfolio's own conditions; the portfolio's pulse must be locked."""
    own = {"condition__in": PORTFOLIO_CONDITIONS}
    return _reconcile_scope({"portfolio_id": portfolio, "boiler_id": None}, conditions, at, own)


def reconcile_silence(*, portfolio: UUID, conditions: Sequence[Condition], at: datetime) -> Reconciled:
    """Do the same for the conditions that alerts reach nobody; the portfolio's pulse must be locked."""
    own = {"condition__in": SILENCE_CONDITIONS}
    return _reconcile_scope({"portfolio_id": portfolio, "boiler_id": None}, conditions, at, own)


def is_silence_raised(portfolio: UUID) -> bool:
    """Whether an alert is open that alerts reach nobody: it must be able to end, also where nobody is told any more."""
    return Alert.objects.filter(portfolio=portfolio, condition__in=SILENCE_CONDITIONS, until=None).exists()


def reconcile_building(*, portfolio: UUID, building: UUID, conditions: Sequence[Condition], at: datetime) -> Reconciled:
    """Do the same for a building as a whole; the portfolio's pulse must be locked."""
    return _reconcile_scope({"portfolio_id": portfolio, "boiler_id": None}, conditions, at, {"subject": building})


def reconcile_job(*, portfolio: UUID, job: UUID, conditions: Sequence[Condition], at: datetime) -> Reconciled:
    """Do the same for a job; its row must be locked."""
    return _reconcile_scope({"portfolio_id": portfolio, "boiler_id": None}, conditions, at, {"subject": job})


def _reconcile_scope(
    scope: Values, conditions: Sequence[Condition], at: datetime, only: Values | None = None
) -> Reconciled:
    rows = list(Alert.with_withdrawn.filter(**scope, **(only or {})).exclude(condition=UNJUDGED))
    matched = match_alerts(rows, [c for c in conditions if c.since <= at], at)
    acts = _acts_by_alert(rows)
    events: list[ChangeEvent] = []
    # Rows are closed before others are opened: the database allows one open row per condition and subject.
    for row in matched.gone:
        events += _withdraw_alert(row)
    pairs = sorted(matched.pairs, key=lambda pair: end_by(pair[1], at) is None)
    rows_written = len(matched.gone) + len(matched.new)
    for row, condition in pairs:
        changed = _follow_condition(row, condition, acts[row.id], at)
        if changed is not None:
            rows_written, events = rows_written + 1, [*events, *changed]
    for condition in matched.new:
        events += _raise_alert(scope, condition, at)
    return Reconciled(rows_written, events, [r.shelved_until for r in rows if r.shelved_until])


def _acts_by_alert(rows: Sequence[Alert]) -> dict[UUID, list[AlertAct]]:
    """Return the acts by alert; no query where no row was ever changed."""
    acts_by_alert: dict[UUID, list[AlertAct]] = defaultdict(list)
    # A row at its first version has no acts. A later version may also come from evidence, so the acts are read.
    acted_ids = [r.id for r in rows if r.version > 1]
    for act in AlertAct.objects.filter(alert__in=acted_ids) if acted_ids else ():
        acts_by_alert[act.alert_id].append(act)
    return acts_by_alert


def _follow_condition(
    row: Alert, condition: Condition, acts: Sequence[AlertAct], at: datetime
) -> list[ChangeEvent] | None:
    """Make a row equal to its condition and acts, and return the events; None where nothing differs."""
    old = _written_values(row)
    was = (row.status, row.level)
    row.since, row.until, row.withdrawn = condition.since, end_by(condition, at), False
    row.level, row.sentence, row.lines = condition.level.value, condition.sentence_at(at), list(condition.lines)
    times_raised, row.times_raised = row.times_raised, condition.times_raised(at)
    is_raised_anew = 0 < times_raised < row.times_raised
    if (
        was[0] == "withdrawn"
        or (was[0] == "returned" and row.until is None)
        or LEVEL_RANKS[row.level] < LEVEL_RANKS[was[1]]
        or is_raised_anew
    ):
        row.acts_from = at  # earlier decisions were about something else
    row.acknowledged_at, row.shelved_until = effect_of_acts(row, acts, at)
    if _written_values(row) == old:
        return None
    if was[0] == "withdrawn":
        row.raised_at = at
    row.returned_at = (row.returned_at if was[0] == "returned" else at) if row.until else None
    row.version += 1
    row.save()
    events = list(_change_events(row, *was, at))
    if is_raised_anew and row.until is None and not any(e.kind == "alert.raised" for e in events):
        events.append(_alert_event(row, "raised", at))
    return events


def _written_values(row: Alert) -> tuple[object, ...]:
    return (
        row.since,
        row.until,
        row.withdrawn,
        row.level,
        row.sentence,
        tuple(row.lines),
        row.times_raised,
        row.acknowledged_at,
        row.shelved_until,
    )


def _change_events(row: Alert, status: str, level: str, at: datetime) -> Iterator[ChangeEvent]:
    """Yield what changed for readers of the feed; the event of an act is recorded with the act."""
    if status == "withdrawn" or (status == "returned" and row.until is None):
        yield _alert_event(row, "raised", row.since)
    if row.until is not None and status != "returned":
        yield _alert_event(row, "returned", row.until, status)
    if row.until is None and status not in ("withdrawn", "returned"):
        if LEVEL_RANKS[row.level] < LEVEL_RANKS[level]:
            yield _alert_event(row, "rose", at=at, before=level, after=row.level)
        elif status == "shelved" and row.status != "shelved":
            yield _alert_event(row, "shown_again", at, status)


def _withdraw_alert(row: Alert) -> Iterator[ChangeEvent]:
    """Withdraw an alert whose cause is gone: its row and acts are kept but no longer count."""
    status = row.status
    row.withdrawn, row.acknowledged_at, row.shelved_until = True, None, None
    row.version += 1
    row.save()
    yield _alert_event(row, "withdrawn", row.until or row.since, status)


def _raise_alert(scope: Values, condition: Condition, at: datetime) -> Iterator[ChangeEvent]:
    end = end_by(condition, at)
    row = Alert.objects.create(
        **scope,
        condition=condition.condition,
        subject=condition.subject,
        since=condition.since,
        until=end,
        level=condition.level.value,
        sentence=condition.sentence_at(at),
        lines=list(condition.lines),
        times_raised=condition.times_raised(at),
        raised_at=at,
        returned_at=at if end else None,
    )
    yield _alert_event(row, "raised", row.since)


def _alert_event(row: Alert, change: str, at: datetime, before: str = "", after: str = "") -> ChangeEvent:
    return ChangeEvent(
        f"alert.{change}",
        row.id,
        boiler=row.boiler_id,
        before=before,
        after=after or row.condition,
        sentence=row.sentence,
        rule=row.condition,
        at=at,
    )


def raise_unjudged(*, boiler: Boiler, at: datetime) -> list[ChangeEvent]:
    """Raise the alert that a boiler cannot be judged, once: what the board shows of it may be old."""
    row, created = Alert.objects.get_or_create(
        condition=UNJUDGED,
        subject=boiler.id,
        until=None,
        defaults={
            "portfolio_id": boiler.portfolio_id,
            "boiler": boiler,
            "since": at,
            "level": "urgent",
            "sentence": f"{boiler.name} could not be judged. What the board shows of it may be out of date.",
            "raised_at": at,
        },
    )
    return [_alert_event(row, "raised", at)] if created else refresh_alert(alert=row.id, at=at)


def refresh_alert(*, alert: UUID, at: datetime) -> list[ChangeEvent]:
    """Make one alert equal to its acts without judging anything; return events where it is shown again."""
    row = Alert.objects.get(id=alert)
    old = _written_values(row)
    status = row.status
    row.acknowledged_at, row.shelved_until = effect_of_acts(row, AlertAct.objects.filter(alert=row), at)
    if _written_values(row) == old:
        return []
    row.version += 1
    row.save()
    return list(_change_events(row, status, row.level, at))


def end_unjudged(*, boiler: Boiler, at: datetime) -> list[ChangeEvent]:
    """Return the alert that a boiler could not be judged to normal."""
    rows = list(Alert.objects.filter(boiler=boiler, condition=UNJUDGED, until=None))
    events = [_alert_event(row, "returned", at, row.status) for row in rows]
    for row in rows:
        row.until, row.returned_at, row.acknowledged_at, row.shelved_until = at, at, None, None
        row.version += 1
        row.save()
    return events
