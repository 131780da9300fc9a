"""Handing notices over: claim one, choose the person's destination, try once, record the attempt.

A worker that dies between the receiver's answer and the record tries again with the same message id: the receiver sees
a repeat, and nothing is lost. What was recorded as sent is never tried again.
"""

import random
from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction

from fleet.notices.channels.contract import (
    Channel,
    DeliveryOutcome,
    DeliveryResult,
    InlineImage,
    OutgoingMessage,
    Receiver,
)
from fleet.notices.channels.resting import falls_over, next_attempt_at, rest_ends_at
from fleet.notices.models import FAILED, SENT, WAITING, DeliveryAttempt, Destination, Notice
from fleet.notices.outbox import claim_notice
from fleet.notices.writing.digest_text import PULSE
from fleet.notices.writing.links import answer_address, stop_address

GIVE_UP_AFTER = timedelta(hours=24)
GIVE_UP_AFTER_IN_DANGER = timedelta(hours=72)
NO_ADDRESS_DELAY = timedelta(minutes=10)  # whoever has no address now may give one
STOPPABLE_KINDS = {"digest": "digest", "single": "single"}
CONFIRMED_BY_ANSWER = frozenset({"webhook"})  # a program cannot say yes to a page; it took the message
OutcomesByDestination = Mapping[UUID, Sequence[DeliveryOutcome]]


def deliver_next(*, channels: Mapping[str, Channel], at: datetime, but_not: Sequence[UUID] = ()) -> UUID | None:
    """Try the next notice once, and return its id; None where none is to be sent now. No transaction may be open.

    The attempt itself happens outside of any transaction, so a slow receiver holds no lock.
    """
    notice = claim_notice(at, but_not)
    if notice is None:
        return None
    destination = choose_destination(notice, channels, at)
    if destination is None:
        _record_no_address(notice, at)
        return notice.id
    receiver = Receiver(destination.address, _secrets_of(destination, at))
    result = channels[destination.channel].send(message_of(notice), receiver, at)
    record_result(notice=notice, destination=destination, result=result, chance=random.random(), at=at)
    return notice.id


def choose_destination(notice: Notice, channels: Mapping[str, Channel], at: datetime) -> Destination | None:
    """Return where a notice goes next; None where its person has no address that this site can reach.

    In the person's order, that of the call list's channel first. One that failed enough, or rests, is passed over for
    the next. Where all did, the one that failed least is tried again: something is better than nothing.
    """
    if notice.kind == "confirm":  # the message that asks about an address goes there, and nowhere else
        unconfirmed_row = Destination.objects.filter(id=notice.data["destination"], ended_at=None).first()
        return unconfirmed_row if unconfirmed_row is not None and unconfirmed_row.channel in channels else None
    used = Destination.objects.filter(user=notice.user_id, ended_at=None, confirmed_at__isnull=False)
    listed = [row for row in used.order_by("rank", "made_at", "id") if row.channel in channels]
    listed.sort(key=lambda row: row.channel != notice.data.get("channel"))
    outcomes = _outcomes_of(notice)
    fit = [row for row in listed if not falls_over(outcomes.get(row.id, ()), is_danger=notice.is_danger)]
    awake = [row for row in fit if row.rests_until is None or row.rests_until <= at]
    if awake or fit:
        return (awake or fit)[0]
    hopeful = [row for row in listed if DeliveryOutcome.REFUSED not in outcomes.get(row.id, ())]
    return min(hopeful, key=lambda row: len(outcomes.get(row.id, ())), default=None)


def _outcomes_of(notice: Notice) -> OutcomesByDestination:
    outcomes: dict[UUID, list[DeliveryOutcome]] = defaultdict(list)
    for row in DeliveryAttempt.objects.filter(notice=notice).order_by("at", "id"):
        if row.destination_id is not None:
            outcomes[row.destination_id].append(DeliveryOutcome(row.outcome))
    return outcomes


def _secrets_of(destination: Destination, at: datetime) -> tuple[str, ...]:
    """Return what signs a message: the present secret, and the one before it while the receiver changes over."""
    is_overlap = destination.previous_until is not None and at < destination.previous_until
    secrets = (destination.secret, destination.previous_secret if is_overlap else "")
    return tuple(secret for secret in secrets if secret)


def message_of(notice: Notice) -> OutgoingMessage:
    """Return a notice as the channels get it: the same at every attempt."""
    data: dict[str, object] = notice.data
    chart_text = "On hold or exposed, by day"
    chart = (InlineImage("chart", bytes(notice.chart), chart_text),) if notice.chart else ()
    stop_kind = STOPPABLE_KINDS.get(notice.kind)
    return OutgoingMessage(
        notice.id,
        notice.created_at,
        kind=notice.kind,
        level=notice.level,
        subject=notice.subject,
        text=notice.text,
        html=notice.html,
        data={key: value for key, value in data.items() if key not in ("channel", "may_answer", "state", PULSE)},
        is_danger=notice.is_danger,
        answer_url=answer_address(notice.id) if data.get("may_answer") else "",
        stop_url=stop_address(notice.user_id, stop_kind) if stop_kind else "",
        images=chart,
    )


@transaction.atomic
def record_result(
    *, notice: Notice, destination: Destination, result: DeliveryResult, chance: float, at: datetime
) -> None:
    """Record one attempt, and what follows for the notice and the destination. `chance` is from 0 up to 1."""
    row = Notice.objects.select_for_update().get(id=notice.id)
    DeliveryAttempt.objects.create(
        portfolio_id=row.portfolio_id,
        notice=row,
        destination=destination,
        channel=destination.channel,
        at=at,
        outcome=result.outcome.value,
        answer=result.answer[:500],
    )
    place = Destination.objects.select_for_update().get(id=destination.id)
    _note_on_destination(place, result, at)
    if row.kind == "confirm" and place.channel in CONFIRMED_BY_ANSWER and result.outcome is DeliveryOutcome.SENT:
        Destination.objects.filter(id=place.id, confirmed_at=None).update(confirmed_at=at)
    if row.status != WAITING:  # another worker was faster after this one was taken for dead
        return
    row.claimed_until = None
    if result.outcome is DeliveryOutcome.SENT:
        row.status, row.sent_at = SENT, at
    elif _is_too_old(row, at):
        row.status = FAILED
    else:
        row.next_at = _next_attempt(row, destination.id, result=result, chance=chance, at=at)
    row.save(update_fields=["status", "sent_at", "next_at", "claimed_until"])


def _next_attempt(
    notice: Notice, destination_id: UUID, result: DeliveryResult, chance: float, at: datetime
) -> datetime:
    """Return when to try again: at once where another destination has not been tried, else after a pause."""
    outcomes = _outcomes_of(notice)
    destinations = Destination.objects.filter(user=notice.user_id, ended_at=None, confirmed_at__isnull=False)
    is_over = falls_over(outcomes[destination_id], is_danger=notice.is_danger)
    if is_over and any(not falls_over(outcomes.get(row.id, ()), is_danger=notice.is_danger) for row in destinations):
        return at
    return next_attempt_at(at, max(notice.tries, 1), chance, result.retry_after)


def _is_too_old(notice: Notice, at: datetime) -> bool:
    return at - notice.due_at > (GIVE_UP_AFTER_IN_DANGER if notice.is_danger else GIVE_UP_AFTER)


def _note_on_destination(place: Destination, result: DeliveryResult, at: datetime) -> None:
    """Note that a destination took a message, failed again, or will take none any more."""
    if result.outcome is DeliveryOutcome.SENT:
        place.failures, place.failing_since, place.rests_until, place.told_at = 0, None, None, at
    else:
        place.failures += 1
        place.failing_since = place.failing_since or at
        place.rests_until = rest_ends_at(place.failures, at)
    if result.outcome is DeliveryOutcome.REFUSED:
        place.ended_at, place.end_reason = at, "refused"
    place.save()


@transaction.atomic
def _record_no_address(notice: Notice, at: datetime) -> None:
    """Record that there was nowhere to send it; it is tried again until it is too old."""
    DeliveryAttempt.objects.create(
        portfolio_id=notice.portfolio_id,
        notice=notice,
        channel="",
        at=at,
        outcome=DeliveryOutcome.FAILED.value,
        answer="This person has no address in use.",
    )
    notice.claimed_until = None
    notice.next_at = at + NO_ADDRESS_DELAY
    notice.status = FAILED if _is_too_old(notice, at) else WAITING
    notice.save(update_fields=["status", "next_at", "claimed_until"])
