"""What people decide about an alert: acknowledging, shelving with a reason and an end; and the effect of these acts."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from fleet.accounts.models import User
from fleet.alerts.models import Alert, AlertAct
from fleet.errors import Fault, Refused
from fleet.records.versioned_acts import add_act
from fleet.rules.values import Level

LONGEST_SHELF = timedelta(days=90)  # common practice: a shelved alert is looked at again within a season
LEVEL_RANKS = {level.value: rank for rank, level in enumerate(Level)}  # 0 the worst
SENTENCES = {"acknowledged": "Acknowledged.", "shelved": "Shelved until {until:%d %b %Y %H:%M} UTC."}


@dataclass(frozen=True, slots=True)
class AlertDecision:
    """A requested decision. `kind` is acknowledged or shelved."""

    kind: str
    reason: str = ""
    until: datetime | None = None


def effect_of_acts(alert: Alert, acts: Iterable[AlertAct], at: datetime) -> tuple[datetime | None, datetime | None]:
    """Return (acknowledged at, shelved until) as of `at`.

    Both end when the class rises, when the alert returns to normal, and when it is raised again.
    """
    if alert.until is not None or alert.withdrawn:
        return None, None
    counted = [a for a in acts if _is_counted(a, alert) and a.at <= at]
    acknowledged = max((a.at for a in counted if a.kind == "acknowledged"), default=None)
    shelved = max((a for a in counted if a.kind == "shelved"), key=lambda a: (a.at, a.acted_on), default=None)
    until = shelved.until if shelved else None
    return acknowledged, until if until and at < until else None


def shelvings_ended(rows: Iterable[Alert], at: datetime) -> dict[UUID, datetime]:
    """Return, by alert, when the last shelving that still counts ended; alerts without such a one are left out."""
    by_id = {row.id: row for row in rows if row.version > 1}  # at its first version nobody decided anything
    ends: dict[UUID, datetime] = {}
    shelvings = AlertAct.objects.filter(alert__in=list(by_id), kind="shelved") if by_id else AlertAct.objects.none()
    for act in shelvings.order_by("at", "acted_on"):
        if _is_counted(act, by_id[act.alert_id]) and act.until is not None:
            ends[act.alert_id] = act.until
    return {alert: end for alert, end in ends.items() if end <= at}


def _is_counted(act: AlertAct, alert: Alert) -> bool:
    afresh = alert.acts_from is None or act.at >= alert.acts_from
    return afresh and LEVEL_RANKS[alert.level] >= LEVEL_RANKS[act.level]


def refuse_decision(*, row: Alert, version: int, decision: AlertDecision, at: datetime) -> None:
    """Raise Refused unless the decision may be recorded.

    In this order: 412 for a stale version, 409 for an alert that is over, 422 with every fault.
    """
    if row.version != version:
        raise Refused("stale", f"This has changed. It is now at version {row.version}.", ("version",), status=412)
    if row.until is not None or row.withdrawn:
        raise Refused("not_raised", f"This is {row.status}, so there is nothing to decide.", status=409)
    faults = list(_shelving_faults(decision, at)) if decision.kind == "shelved" else []
    if faults:
        raise Refused.from_faults(faults, status=422)


def _shelving_faults(decision: AlertDecision, at: datetime) -> Iterator[Fault]:
    if not decision.reason.strip():
        yield Fault("required", "Give the reason in a sentence.", ("reason",))
    if decision.until is None:
        yield Fault("required", "Until when?", ("until",))
    elif decision.until <= at:
        yield Fault("in_the_past", f"This must be after the server's time, {at.isoformat()}.", ("until",))
    elif decision.until > at + LONGEST_SHELF:
        yield Fault("too_long", f"An alert can be shelved for at most {LONGEST_SHELF.days} days.", ("until",))


def record_act(*, row: Alert, decision: AlertDecision, by: User, at: datetime, request_id: str) -> AlertAct:
    """Add a checked decision and give the alert its next version."""
    act = AlertAct(
        alert=row,
        kind=decision.kind,
        level=row.level,
        at=at,
        until=decision.until,
        by=by,
        reason=decision.reason,
        request_id=request_id,
    )
    return add_act(act, row)


def act_sentence(act: AlertAct) -> str:
    """Return what was decided, in one sentence."""
    return SENTENCES[act.kind].format(until=act.until)
