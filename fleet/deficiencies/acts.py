"""What people decide about a deficiency: a decision is checked against its present state and added, never changed."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import Q

from fleet.accounts.models import Grant, User
from fleet.accounts.people import held_at
from fleet.deficiencies import life
from fleet.deficiencies.life import Life
from fleet.deficiencies.models import Act, Deficiency
from fleet.errors import Fault, Refused
from fleet.portfolio.acting import add
from fleet.portfolio.models import Boiler
from fleet.rules.values import Act as RulesAct

AHEAD = timedelta(minutes=10)  # phones' clocks differ; more is a mistake
SAID = {
    "assigned": "Assigned to {assignee}, to be done by {until:%d %b %Y %H:%M} UTC.",
    "repair_reported": "Said to be repaired on {done_at:%d %b %Y}: not proven yet.",
    "deferred": "Reminders deferred until {until:%d %b %Y %H:%M} UTC: the state is what it was.",
    "explained": "Explained: {cause}.",
}


@dataclass(frozen=True, slots=True)
class Decision:
    """A requested decision. `kind` is assigned, repair_reported, deferred or explained."""

    kind: str
    reason: str = ""
    until: datetime | None = None
    done_at: datetime | None = None
    assignee: UUID | None = None
    cause: str = ""


def of_boiler(boiler: UUID) -> list[Act]:
    """Return every act about the deficiencies of one boiler, in the order recorded, in one query."""
    found = Act.objects.filter(deficiency__boiler=boiler).select_related("deficiency")
    return list(found.order_by("at", "acted_on", "id"))


def as_stored(acts: Sequence[Act]) -> tuple[RulesAct, ...]:
    """Return the acts as values of the rules, under the stored episodes of the boiler's last judgement."""
    if not acts:
        return ()
    rows = Deficiency.objects.filter(boiler=acts[0].deficiency.boiler_id)
    return life.as_values(life.by_episode(acts, life.of_rows(rows)))


def refuse(
    *, row: Deficiency, now: Life, version: int, decision: Decision, by: User, boiler: Boiler, at: datetime
) -> None:
    """Raise Refused unless the decision may be recorded.

    In this order: 412 for a stale version, 409 for a deficiency that is over, 403 where only a technician explains, 422
    with every fault.
    """
    if row.version != version:
        raise Refused("stale", f"This has changed: it is at version {row.version} now.", ("version",), status=412)
    if now.status in ("closed", "withdrawn", "merged"):
        raise Refused("not_open", _over(row, now), status=409)
    if decision.kind == "explained" and not _qualified(by, row, at):
        raise Refused("not_qualified", "Only a qualified technician explains a deficiency.", status=403)
    faults = list(_CHECKS[decision.kind](decision, row, now, boiler, at))
    if faults:
        raise Refused.all(faults, status=422)


def _over(row: Deficiency, now: Life) -> str:
    return f"This is part of deficiency {row.merged_into_id} now." if row.merged_into_id else f"This is {now.status}."


def _qualified(by: User, row: Deficiency, at: datetime) -> bool:
    return "technician" in held_at(row.portfolio_id, by.id, at)


def _assigned(decision: Decision, row: Deficiency, now: Life, boiler: Boiler, at: datetime) -> Iterator[Fault]:
    yield from _ahead(decision, at)
    known = Grant.objects.filter(
        Q(until=None) | Q(until__gt=at),
        Q(building=None) | Q(building=boiler.building_id),
        user=decision.assignee,
        portfolio=row.portfolio_id,
    )
    if decision.assignee is None or not known.exists():
        yield Fault("unknown_person", "No such person here.", ("to",))


def _reported(decision: Decision, row: Deficiency, now: Life, boiler: Boiler, at: datetime) -> Iterator[Fault]:
    yield from _said(decision)
    if decision.done_at is None:
        yield Fault("required", "When was it done?", ("done_at",))
    elif decision.done_at > at + AHEAD:
        yield Fault("in_the_future", f"This lies ahead of the server's time, {at.isoformat()}.", ("done_at",))
    elif decision.done_at < (found := row.found_at or row.opened_at):
        yield Fault("before_it_was_found", f"It was found on {found.isoformat()}.", ("done_at",))


def _deferred(decision: Decision, row: Deficiency, now: Life, boiler: Boiler, at: datetime) -> Iterator[Fault]:
    yield from _said(decision)
    yield from _ahead(decision, at)
    if now.level == "hold":
        yield Fault("hold_is_not_deferred", "What holds a boiler is put right, not put off.")


def _explained(decision: Decision, row: Deficiency, now: Life, boiler: Boiler, at: datetime) -> Iterator[Fault]:
    yield from _said(decision)
    if not decision.cause:
        yield Fault("required", "Name the cause.", ("cause",))


def _said(decision: Decision) -> Iterator[Fault]:
    if not decision.reason.strip():
        yield Fault("required", "Say it in a sentence.", ("reason",))


def _ahead(decision: Decision, at: datetime) -> Iterator[Fault]:
    if decision.until is None:
        yield Fault("required", "Until when?", ("until",))
    elif decision.until <= at:
        yield Fault("in_the_past", f"This is not after the server's time, {at.isoformat()}.", ("until",))


_CHECKS = {"assigned": _assigned, "repair_reported": _reported, "deferred": _deferred, "explained": _explained}


def record(*, row: Deficiency, level: str, decision: Decision, by: User, at: datetime, request_id: str) -> Act:
    """Add a checked decision and give the deficiency its next version."""
    act = Act(
        deficiency=row,
        kind=decision.kind,
        episode_at=row.opened_at,
        level=level,
        at=at,
        until=decision.until,
        done_at=decision.done_at,
        by=by,
        assignee_id=decision.assignee,
        cause=decision.cause,
        reason=decision.reason,
        request_id=request_id,
    )
    return add(act, row)


def sentence(act: Act) -> str:
    """Return what was decided, in one sentence."""
    who = act.assignee.get_username() if act.assignee else ""
    return SAID[act.kind].format(assignee=who, until=act.until, done_at=act.done_at, cause=act.cause)
