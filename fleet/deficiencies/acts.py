"""What people decide about a deficiency: a decision is checked against its present state and added, never changed."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import Q

from fleet.accounts.models import Grant, User
from fleet.accounts.people import qualification_codes_at
from fleet.deficiencies import life
from fleet.deficiencies.life import DeficiencyLife
from fleet.deficiencies.models import Deficiency, DeficiencyAct
from fleet.errors import Fault, Refused
from fleet.portfolio.models import Boiler
from fleet.records.row_spans import not_ended
from fleet.records.versioned_acts import add_act
from fleet.rules.values import ActFact as RulesAct

MAX_CLOCK_AHEAD = timedelta(minutes=10)  # phones' clocks differ; more is a mistake
SENTENCES = {
    "assigned": "Assigned to {assignee}, to be done by {until:%d %b %Y %H:%M} UTC.",
    "repair_reported": "Said to be repaired on {done_at:%d %b %Y}: not proven yet.",
    "deferred": "Reminders deferred until {until:%d %b %Y %H:%M} UTC. The state has not changed.",
    "explained": "Explained: {cause}.",
}


@dataclass(frozen=True, slots=True)
class DeficiencyDecision:
    """A requested decision. `kind` is assigned, repair_reported, deferred or explained."""

    kind: str
    reason: str = ""
    until: datetime | None = None
    done_at: datetime | None = None
    assignee: UUID | None = None
    cause: str = ""


def acts_of_boiler(boiler: UUID) -> list[DeficiencyAct]:
    """Return every act about the deficiencies of one boiler, in the order recorded, in one query."""
    acts = DeficiencyAct.objects.filter(deficiency__boiler=boiler).select_related("deficiency")
    return list(acts.order_by("at", "acted_on", "id"))


def stored_acts_as_values(acts: Sequence[DeficiencyAct]) -> tuple[RulesAct, ...]:
    """Return the acts as values of the rules, under the stored episodes of the boiler's last judgement."""
    if not acts:
        return ()
    rows = Deficiency.objects.filter(boiler=acts[0].deficiency.boiler_id)
    return life.acts_as_values(life.acts_by_episode(acts, life.episodes_of_rows(rows)))


def refuse_decision(
    *,
    row: Deficiency,
    now: DeficiencyLife,
    version: int,
    decision: DeficiencyDecision,
    by: User,
    boiler: Boiler,
    at: datetime,
) -> None:
    """Raise Refused unless the decision may be recorded.

    In this order: 412 for a stale version, 409 for a deficiency that is over, 403 where only a technician explains, 422
    with every fault.
    """
    if row.version != version:
        raise Refused("stale", f"This has changed. It is now at version {row.version}.", ("version",), status=412)
    if now.status in ("closed", "withdrawn", "merged"):
        raise Refused("not_open", _over_message(row, now), status=409)
    if decision.kind == "explained" and not _is_technician(by, row, at):
        raise Refused("not_qualified", "Only a qualified technician can explain a deficiency.", status=403)
    check = _CHECKS[decision.kind]
    faults = list(check(decision, row, now=now, boiler=boiler, at=at))
    if faults:
        raise Refused.from_faults(faults, status=422)


def _over_message(row: Deficiency, now: DeficiencyLife) -> str:
    return f"This is now part of deficiency {row.merged_into_id}." if row.merged_into_id else f"This is {now.status}."


def _is_technician(by: User, row: Deficiency, at: datetime) -> bool:
    return "technician" in qualification_codes_at(row.portfolio_id, by.id, at)


def _assignment_faults(
    decision: DeficiencyDecision, row: Deficiency, now: DeficiencyLife, boiler: Boiler, at: datetime
) -> Iterator[Fault]:
    yield from _end_faults(decision, at)
    grants = Grant.objects.filter(
        not_ended(at),
        Q(building=None) | Q(building=boiler.building_id),
        user=decision.assignee,
        portfolio=row.portfolio_id,
    )
    if decision.assignee is None or not grants.exists():
        yield Fault("unknown_person", "Person not found.", ("to",))


def _repair_faults(
    decision: DeficiencyDecision, row: Deficiency, now: DeficiencyLife, boiler: Boiler, at: datetime
) -> Iterator[Fault]:
    yield from _reason_faults(decision)
    if decision.done_at is None:
        yield Fault("required", "Enter when it was done.", ("done_at",))
    elif decision.done_at > at + MAX_CLOCK_AHEAD:
        yield Fault("in_the_future", f"This is later than the server's time, {at.isoformat()}.", ("done_at",))
    elif decision.done_at < (found_at := row.found_at or row.opened_at):
        yield Fault("before_it_was_found", f"This is before it was found, on {found_at.isoformat()}.", ("done_at",))


def _deferral_faults(
    decision: DeficiencyDecision, row: Deficiency, now: DeficiencyLife, boiler: Boiler, at: datetime
) -> Iterator[Fault]:
    yield from _reason_faults(decision)
    yield from _end_faults(decision, at)
    if now.level == "hold":
        yield Fault("hold_is_not_deferred", "A deficiency that holds a boiler cannot be deferred.")


def _explanation_faults(
    decision: DeficiencyDecision, row: Deficiency, now: DeficiencyLife, boiler: Boiler, at: datetime
) -> Iterator[Fault]:
    yield from _reason_faults(decision)
    if not decision.cause:
        yield Fault("required", "Name the cause.", ("cause",))


def _reason_faults(decision: DeficiencyDecision) -> Iterator[Fault]:
    if not decision.reason.strip():
        yield Fault("required", "Explain it in a sentence.", ("reason",))


def _end_faults(decision: DeficiencyDecision, at: datetime) -> Iterator[Fault]:
    if decision.until is None:
        yield Fault("required", "Until when?", ("until",))
    elif decision.until <= at:
        yield Fault("in_the_past", f"This must be after the server's time, {at.isoformat()}.", ("until",))


_CHECKS = {
    "assigned": _assignment_faults,
    "repair_reported": _repair_faults,
    "deferred": _deferral_faults,
    "explained": _explanation_faults,
}


def record_act(
    *, row: Deficiency, level: str, decision: DeficiencyDecision, by: User, at: datetime, request_id: str
) -> DeficiencyAct:
    """Add a checked decision and give the deficiency its next version."""
    act = DeficiencyAct(
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
    return add_act(act, row)


def act_sentence(act: DeficiencyAct) -> str:
    """Return what was decided, in one sentence."""
    assignee_name = act.assignee.get_username() if act.assignee else ""
    return SENTENCES[act.kind].format(assignee=assignee_name, until=act.until, done_at=act.done_at, cause=act.cause)
