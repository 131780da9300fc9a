"""Acknowledging what a notice called somebody of: by the link in the message, once, or signed in."""

from datetime import datetime
from uuid import UUID

from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.alerts.acts import AlertDecision
from fleet.alerts.models import Alert
from fleet.errors import Refused
from fleet.notices.models import Notice
from fleet.notices.queries import visible_notices
from fleet.pipeline.acts import act_on_alert
from fleet.records.events import Cause

DECISION = AlertDecision("acknowledged", "By the link in the message.")
MAX_TRIES = 3  # an alert that changes under the answer is read again


def answerable_alerts(notice: Notice, by: User, at: datetime) -> list[Alert]:
    """Return the alerts of a notice that this person may acknowledge and that nobody has, worst first.

    `by` carries the reach of the key in use, where there is one.
    """
    rows = Alert.objects.filter(calls__notice=notice, until=None, acknowledged_at=None, shelved_until=None).distinct()
    building = notice.building_id
    if not by.is_active or building is None:
        return []
    if not policy.is_allowed(by, "alert.acknowledge", portfolio=notice.portfolio_id, building=building, at=at):
        return []
    return sorted(
        rows.select_related("boiler__building"), key=lambda row: (row.condition != "hold_but_firing", row.since)
    )


def acknowledge_notice(*, notice: UUID, by: User, at: datetime, cause: Cause | None = None) -> list[Alert]:
    """Acknowledge what a notice called this person of, and return the alerts. The link works once.

    Raises Refused: 404 for another's notice, 409 where it was used, or where nothing is left to acknowledge.
    """
    row = visible_notices(by, at).filter(id=notice, user=by).first()
    if row is None:
        raise Refused("unknown", "Not found.", status=404)
    is_taken = Notice.objects.filter(id=notice, answered_at=None).update(answered_at=at)
    alerts = answerable_alerts(row, by, at) if is_taken else []
    acknowledged = [alert for alert in alerts if _acknowledge_alert(alert, by=by, at=at, cause=cause)]
    if is_taken and not acknowledged:  # nothing came of it, so it was not used
        Notice.objects.filter(id=notice).update(answered_at=None)
    if not acknowledged:
        raise Refused("answered", "There is nothing left to acknowledge here.", status=409)
    return acknowledged


def _acknowledge_alert(alert: Alert, *, by: User, at: datetime, cause: Cause | None) -> bool:
    """Acknowledge one alert as it is now; return False where it is over, or was decided on meanwhile."""
    for _ in range(MAX_TRIES):
        current = Alert.objects.filter(id=alert.id, until=None, acknowledged_at=None, shelved_until=None).first()
        if current is None:
            return False
        try:
            act_on_alert(alert=current.id, decision=DECISION, version=current.version, by=by, at=at, cause=cause)
        except Refused:  # a post or the sweep was faster
            continue
        return True
    return False
