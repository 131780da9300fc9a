"""The outbox: claimed by one worker, folded where it is too much, sent once, tried again, fallen over, given up."""

from datetime import datetime, time, timedelta
from uuid import uuid4

import pytest

from fleet import pipeline
from fleet.accounts.models import User
from fleet.alerts.models import Alert
from fleet.notices.channels.contract import DeliveryOutcome, DeliveryResult, OutgoingMessage, Receiver
from fleet.notices.delivery import deliver_next
from fleet.notices.models import DeliveryAttempt, Destination, Notice, NoticeChoices
from fleet.notices.outbox import CLAIM_TIME, MAX_PER_HOUR, NoticeDraft, add_notice, claim_notice
from tests.cast import NOW, Fleet
from tests.notices.reach import KeptChannel, deliver_all, give_address, staff

pytestmark = pytest.mark.django_db
MINUTE, SECOND, HOUR = timedelta(minutes=1), timedelta(seconds=1), timedelta(hours=1)


def answer(outcome: DeliveryOutcome, **more: timedelta) -> KeptChannel:
    return KeptChannel(lambda _message, _receiver: DeliveryResult(outcome, "As told.", **more))


def add(fleet: Fleet, n: int = 0, at: datetime = NOW, *, interrupts: bool = True, user: User | None = None) -> Notice:
    draft = NoticeDraft(
        fleet.portfolio.id,
        user or fleet.caretaker,
        kind="call" if interrupts else "single",
        key=f"test {n} {at} {uuid4()}",
        level="hold",
        subject=f"Hold {n}",
        text=f"Text {n}",
        interrupts=interrupts,
        zone="America/New_York",
    )
    return add_notice(draft, at)


def row(notice: Notice) -> Notice:
    return Notice.objects.get(id=notice.id)


def test_a_notice_is_sent_once_and_every_attempt_is_kept(fleet: Fleet) -> None:
    give_address(fleet.caretaker)
    notice, channel = add(fleet), KeptChannel()
    assert deliver_all(channel, NOW) == 1
    assert deliver_all(channel, NOW + HOUR) == 0
    assert [message.id for _, message in channel.got] == [notice.id]
    assert list(DeliveryAttempt.objects.values_list("outcome", "channel")) == [("sent", "email")]
    assert row(notice).sent_at == NOW


def test_the_same_key_is_one_notice(fleet: Fleet) -> None:
    draft = NoticeDraft(fleet.portfolio.id, fleet.caretaker, "slip", "the key", "routine", "One", "One")
    assert add_notice(draft, NOW).id == add_notice(draft, NOW + HOUR).id


@pytest.mark.parametrize(
    ("after", "is_free"), [(CLAIM_TIME - SECOND, False), (CLAIM_TIME, True), (CLAIM_TIME + SECOND, True)]
)
def test_what_a_dead_worker_had_is_claimed_again_when_its_time_is_over(
    fleet: Fleet, after: timedelta, is_free: bool
) -> None:
    add(fleet)
    assert claim_notice(NOW) is not None
    assert (claim_notice(NOW + after) is not None) is is_free


def test_a_lost_answer_is_tried_again_under_the_same_id(fleet: Fleet) -> None:
    give_address(fleet.caretaker)
    notice, channel = add(fleet), answer(DeliveryOutcome.UNKNOWN)
    deliver_all(channel, NOW)
    channel.answer = KeptChannel().answer
    deliver_all(channel, NOW + HOUR)
    assert [message.id for _, message in channel.got] == [notice.id, notice.id]
    assert row(notice).status == "sent"


def test_a_failure_waits_longer_each_time_and_no_longer_than_an_hour(fleet: Fleet) -> None:
    give_address(fleet.caretaker)
    notice, channel, at, pauses = add(fleet), answer(DeliveryOutcome.FAILED), NOW, []
    for _ in range(12):
        assert deliver_all(channel, at) == 1
        pauses.append(row(notice).next_at - at)
        at = row(notice).next_at
    assert MINUTE / 2 < pauses[0] < 2 * MINUTE
    assert pauses[0] < pauses[2] < pauses[4]
    assert max(pauses) <= HOUR


def test_the_receiver_who_asks_for_time_gets_it(fleet: Fleet) -> None:
    give_address(fleet.caretaker)
    notice = add(fleet)
    deliver_all(answer(DeliveryOutcome.FAILED, retry_after=30 * MINUTE), NOW)
    assert row(notice).next_at >= NOW + 30 * MINUTE


def test_danger_goes_to_the_next_address_after_the_first_failure(fleet: Fleet) -> None:
    give_address(fleet.caretaker, rank=0)
    give_address(fleet.caretaker, "chat", rank=1)
    notice, bad, good = add(fleet), answer(DeliveryOutcome.FAILED), KeptChannel()
    channels = {"email": bad, "chat": good}
    assert deliver_next(channels=channels, at=NOW) == notice.id
    assert deliver_next(channels=channels, at=NOW) == notice.id
    assert [address for address, _ in good.got] == ["chat:bram"]


def test_a_failure_pauses_also_where_another_address_is_of_a_channel_that_this_site_lacks(fleet: Fleet) -> None:
    give_address(fleet.caretaker, rank=0)
    give_address(fleet.caretaker, "chat", rank=1)
    notice = add(fleet)
    deliver_all(answer(DeliveryOutcome.FAILED), NOW)
    assert row(notice).next_at >= NOW + MINUTE / 2


def test_an_address_that_is_refused_ends_and_the_next_one_is_told(fleet: Fleet) -> None:
    first = give_address(fleet.caretaker, rank=0)
    give_address(fleet.caretaker, "chat", rank=1)
    add(fleet, interrupts=False)
    good = KeptChannel()
    channels = {"email": answer(DeliveryOutcome.REFUSED), "chat": good}
    deliver_next(channels=channels, at=NOW)
    deliver_next(channels=channels, at=NOW)
    assert Destination.objects.get(id=first.id).ended_at == NOW
    assert len(good.got) == 1


def test_a_failing_address_raises_an_alert_and_ends_it_when_something_arrives(fleet: Fleet) -> None:
    give_address(fleet.caretaker)
    add(fleet)
    deliver_all(answer(DeliveryOutcome.FAILED), NOW)
    pipeline.sweep(at=NOW + 30 * MINUTE - SECOND)
    assert not Alert.objects.filter(condition="notices_failing").exists()
    pipeline.sweep(at=NOW + 30 * MINUTE)
    assert Alert.objects.filter(condition="notices_failing", until=None).count() == 1
    deliver_all(KeptChannel(), NOW + 2 * HOUR)
    pipeline.sweep(at=NOW + 2 * HOUR)
    assert not Alert.objects.filter(condition="notices_failing", until=None).exists()


def test_a_bad_night_is_told_in_a_few_messages_and_loses_no_line(fleet: Fleet) -> None:
    give_address(fleet.caretaker)
    for n in range(400):
        add(fleet, n, NOW + n * SECOND)
    channel = KeptChannel()
    for minute in range(30):
        deliver_all(channel, NOW + minute * MINUTE)
    assert len(channel.got) <= MAX_PER_HOUR + 2
    assert not Notice.objects.filter(status="waiting").exists()
    folded = Notice.objects.filter(kind="folded")
    assert MAX_PER_HOUR + sum(part.data["count"] for part in folded) == 400


def test_what_is_told_together_carries_nothing_that_is_for_this_site_alone(fleet: Fleet) -> None:
    give_address(fleet.caretaker)
    for n in range(MAX_PER_HOUR + 2):
        data: dict[str, object] = {"alerts": [n], "channel": "email", "may_answer": True, "state": "x", "pulse": 7}
        draft = NoticeDraft(fleet.portfolio.id, fleet.caretaker, "call", f"{n}", "hold", "Hold", "Hold", data=data)
        add_notice(draft, NOW + n * SECOND)
    channel = KeptChannel()
    deliver_all(channel, NOW + MINUTE)
    deliver_all(channel, NOW + 11 * MINUTE)
    assert channel.got[0][1].data == {"alerts": [0]}
    assert channel.got[-1][1].data == {"count": 2, "folded": [{"alerts": [10]}, {"alerts": [11]}]}


@pytest.mark.parametrize(("interrupts", "due"), [(True, timedelta(0)), (False, 9 * HOUR + 30 * MINUTE)])
def test_quiet_hours_hold_back_everything_but_what_interrupts(fleet: Fleet, interrupts: bool, due: timedelta) -> None:
    NoticeChoices.objects.create(user=fleet.caretaker, quiet_from=time(21), quiet_until=time(6, 30))
    night = datetime.fromisoformat("2026-01-13T02:00:00+00:00")  # nine in the evening at the boilers
    notice = add(fleet, at=night, interrupts=interrupts)
    assert notice.due_at == night + due


@pytest.mark.parametrize(("after", "status"), [(72 * HOUR, "waiting"), (72 * HOUR + SECOND, "failed")])
def test_danger_is_given_up_only_after_three_days(fleet: Fleet, after: timedelta, status: str) -> None:
    give_address(fleet.caretaker)
    notice = add(fleet)
    deliver_all(answer(DeliveryOutcome.FAILED), NOW + after)
    assert row(notice).status == status


def test_both_secrets_sign_while_a_receiver_changes_over(fleet: Fleet) -> None:
    place = give_address(fleet.caretaker)
    Destination.objects.filter(id=place.id).update(previous_secret="older", previous_until=NOW + HOUR)
    seen: list[tuple[str, ...]] = []

    def keep_secrets(_message: OutgoingMessage, receiver: Receiver) -> DeliveryResult:
        seen.append(receiver.secrets)
        return DeliveryResult(DeliveryOutcome.FAILED, "Again.")

    add(fleet)
    deliver_all(KeptChannel(keep_secrets), NOW)
    Notice.objects.update(next_at=NOW)
    deliver_all(KeptChannel(keep_secrets), NOW + HOUR)
    assert seen == [("first-secret", "older"), ("first-secret",)]


def test_a_failed_flush_reaches_every_person_of_the_first_step(fleet: Fleet) -> None:
    staff(fleet)
    fleet.post(fleet.flushed(NOW, burner_stopped=False), at=NOW)
    channel = KeptChannel()
    deliver_all(channel, NOW)
    assert {address for address, _ in channel.got} == {"bram@sorrelgate.example", "manager1@sorrelgate.example"}
    assert all(message.is_danger for _, message in channel.got)
