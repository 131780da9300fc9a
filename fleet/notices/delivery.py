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

from fleet.accounts.models import Grant
from fleet.notices.channels.contract import (
    Channel,
    DeliveryOutcome,
    DeliveryResult,
    InlineImage,
    OutgoingMessage,
    Receiver,
)
from fleet.notices.channels.resting import falls_over, is_resting, next_attempt_at, rest_ends_at
from fleet.notices.models import FAILED, SENT, WAITING, DeliveryAttempt, Destination, Notice
from fleet.notices.outbox import CONFIRM, claim_notice, data_for_receivers
from fleet.notices.writing.links import answer_address, stop_address
from fleet.records.row_spans import not_ended

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
    if not may_still_be_told(notice, at):
        _record_not_tried(notice, "This person has no role there any more.", is_final=True, at=at)
        return notice.id
    destination = choose_destination(notice, channels, at)
    if destination is None:
        is_over = notice.kind == CONFIRM  # its one address ended, or its channel is not set up any more
        _record_not_tried(notice, "This person has no address in use.", is_final=is_over, at=at)
        return notice.id
    receiver = Receiver(destination.address, _secrets_of(destination, at))
    result = channels[destination.channel].send(message_of(notice), receiver, at)
    record_result(
        notice=notice, destination=destination, result=result, channels=channels, chance=random.random(), at=at
    )
    return notice.id


def may_still_be_told(notice: Notice, at: datetime) -> bool:
    """Return whether a notice still concerns its person: the account is on, and a role in the portfolio holds.

    Between writing and sending hours can pass. Whose role came with a job and ended with it is still told that the
    job is no longer theirs.
    """
    if not notice.user.is_active:
        return False
    if notice.kind == CONFIRM or notice.data.get("change") == "cancelled":
        return True
    return Grant.objects.filter(not_ended(at), user=notice.user_id, portfolio=notice.portfolio_id).exists()


def choose_destination(notice: Notice, channels: Mapping[str, Channel], at: datetime) -> Destination | None:
    """Return where a notice goes next; None where its person has no address that this site can reach.

    In the person's order, that of the call list's channel first. One that failed enough, or rests, is passed over for
    the next. Where all did, the one that failed least is tried again: something is better than nothing.
    """
    if notice.kind == CONFIRM:  # the message that asks about an address goes there, and nowhere else
        unconfirmed_row = Destination.objects.filter(id=notice.data["destination"], ended_at=None).first()
        return unconfirmed_row if unconfirmed_row is not None and unconfirmed_row.channel in channels else None
    listed = _usable_destinations(notice, channels)
    listed.sort(key=lambda row: row.channel != notice.data.get("channel"))
    outcomes = _outcomes_of(notice)
    fit = [row for row in listed if not falls_over(outcomes.get(row.id, ()), is_danger=notice.is_danger)]
    awake = [row for row in fit if not is_resting(row.rests_until, at)]
    if awake or fit:
        return (awake or fit)[0]
    hopeful = [row for row in listed if DeliveryOutcome.REFUSED not in outcomes.get(row.id, ())]
    return min(hopeful, key=lambda row: len(outcomes.get(row.id, ())), default=None)


def _usable_destinations(notice: Notice, channels: Mapping[str, Channel]) -> list[Destination]:
    """Return the person's addresses in use that this site can reach, in the person's order."""
    used = Destination.objects.filter(user=notice.user_id, ended_at=None, confirmed_at__isnull=False)
    return [row for row in used.order_by("rank", "made_at", "id") if row.channel in channels]


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
        data=data_for_receivers(data),
        is_danger=notice.is_danger,
        answer_url=answer_address(notice.id) if data.get("may_answer") else "",
        stop_url=stop_address(notice.user_id, stop_kind) if stop_kind else "",
        images=chart,
    )


@transaction.atomic
def record_result(
    *,
    notice: Notice,
    destination: Destination,
    result: DeliveryResult,
    channels: Mapping[str, Channel],
    chance: float,
    at: datetime,
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
    if row.kind == CONFIRM and place.channel in CONFIRMED_BY_ANSWER and result.outcome is DeliveryOutcome.SENT:
        Destination.objects.filter(id=place.id, confirmed_at=None).update(confirmed_at=at)
    if row.status != WAITING:  # another worker was faster after this one was taken for dead
        return
    row.claimed_until = None
    if result.outcome is DeliveryOutcome.SENT:
        row.status, row.sent_at = SENT, at
    elif _is_too_old(row, at) or (row.kind == CONFIRM and place.ended_at is not None):
        row.status = FAILED
    elif _has_untried_destination(row, destination.id, channels):
        row.next_at = at
    else:
        row.next_at = next_attempt_at(at, max(row.tries, 1), chance, result.retry_after)
    row.save(update_fields=["status", "sent_at", "next_at", "claimed_until"])


def _has_untried_destination(notice: Notice, destination_id: UUID, channels: Mapping[str, Channel]) -> bool:
    """Return whether this destination failed enough, and another that this site can reach did not: it is tried now."""
    if notice.kind == CONFIRM:
        return False
    outcomes = _outcomes_of(notice)
    if not falls_over(outcomes[destination_id], is_danger=notice.is_danger):
        return False
    destinations = _usable_destinations(notice, channels)
    return any(not falls_over(outcomes.get(row.id, ()), is_danger=notice.is_danger) for row in destinations)


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
def _record_not_tried(notice: Notice, answer: str, *, is_final: bool, at: datetime) -> None:
    """Record why it was sent nowhere; where that is not final, it is tried again until it is too old."""
    DeliveryAttempt.objects.create(
        portfolio_id=notice.portfolio_id,
        notice=notice,
        channel="",
        at=at,
        outcome=DeliveryOutcome.FAILED.value,
        answer=answer,
    )
    notice.claimed_until = None
    notice.next_at = at + NO_ADDRESS_DELAY
    notice.status = FAILED if is_final or _is_too_old(notice, at) else WAITING
    notice.save(update_fields=["status", "next_at", "claimed_until"])
