"""Acknowledging what a notice called somebody of: by the link in the message, once, or signed in."""

from datetime import datetime
from uuid import UUID

from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.alerts.acts import AlertDecision
from fleet.alerts.models import Alert
from fleet.errors import Refused
from fleet.notices.models import Notice
from fleet.pipeline.acts import act_on_alert
from fleet.records.events import Cause

REASON = "By the link in the message."


def answerable_alerts(notice: Notice, at: datetime) -> list[Alert]:
    """Return the alerts of a notice that its person may acknowledge and that nobody has, worst first."""
    rows = Alert.objects.filter(calls__notice=notice, until=None, acknowledged_at=None, shelved_until=None).distinct()
    building = notice.building_id
    if not notice.user.is_active or building is None:
        return []
    if not policy.is_allowed(notice.user, "alert.acknowledge", portfolio=notice.portfolio_id, building=building, at=at):
        return []
    return sorted(rows, key=lambda row: (row.condition != "hold_but_firing", row.since))


def acknowledge_notice(*, notice: UUID, by: User, at: datetime, cause: Cause | None = None) -> list[Alert]:
    """Acknowledge what a notice called this person of, and return the alerts. The link works once.

    Raises Refused: 404 for another's notice, 409 where it was used, or where nothing is left to acknowledge.
    """
    is_taken = Notice.objects.filter(id=notice, user=by, answered_at=None).update(answered_at=at)
    row = Notice.objects.filter(id=notice, user=by).select_related("user").first()
    if row is None:
        raise Refused("unknown", "Not found.", status=404)
    alerts = answerable_alerts(row, at) if is_taken else []
    if not alerts:
        raise Refused("answered", "There is nothing left to acknowledge here.", status=409)
    decision = AlertDecision("acknowledged", REASON)
    for alert in alerts:
        act_on_alert(alert=alert.id, decision=decision, version=alert.version, by=by, at=at, cause=cause)
    return alerts
