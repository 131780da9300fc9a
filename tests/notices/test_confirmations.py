"""What asks whether an address is one's own goes there at once, by itself, and is answered from there alone."""

from datetime import time, timedelta

import pytest
from django.test import Client

from fleet.notices.addresses import add_address
from fleet.notices.channels.contract import DeliveryOutcome, DeliveryResult
from fleet.notices.delivery import deliver_next
from fleet.notices.models import Destination, Notice, NoticeChoices
from fleet.notices.outbox import MAX_PER_HOUR, NoticeDraft, add_notice
from tests.api.phone import Phone
from tests.cast import NOW, Fleet
from tests.notices.reach import KeptChannel, deliver_all, give_address

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


def add(fleet: Fleet, channel: KeptChannel, address: str = "new@sorrelgate.example") -> Destination:
    new = add_address(
        user=fleet.caretaker, channel="email", address=address, label="", channels={"email": channel}, at=NOW
    )
    return new.destination


def test_it_is_never_told_together_with_others(fleet: Fleet) -> None:
    give_address(fleet.caretaker)
    for n in range(MAX_PER_HOUR + 1):
        add_notice(NoticeDraft(fleet.portfolio.id, fleet.caretaker, "call", f"{n}", "hold", "Hold", "Hold"), NOW)
    channel = KeptChannel()
    add(fleet, channel)
    deliver_all(channel, NOW)
    assert [message.kind for address, message in channel.got if address == "new@sorrelgate.example"] == ["confirm"]


def test_it_takes_no_room_from_what_is_told_within_an_hour(fleet: Fleet) -> None:
    give_address(fleet.caretaker)
    add(fleet, KeptChannel())
    for n in range(MAX_PER_HOUR):
        add_notice(NoticeDraft(fleet.portfolio.id, fleet.caretaker, "call", f"{n}", "hold", "Hold", "Hold"), NOW)
    assert not Notice.objects.filter(kind="folded").exists()


def test_it_does_not_wait_for_the_end_of_quiet_hours(fleet: Fleet) -> None:
    NoticeChoices.objects.create(user=fleet.caretaker, quiet_from=time(8), quiet_until=time(12))
    add(fleet, KeptChannel())
    assert Notice.objects.get(kind="confirm").due_at == NOW


def test_its_link_is_read_at_the_new_address_only(fleet: Fleet) -> None:
    channel = KeptChannel()
    add(fleet, channel)
    notice = Notice.objects.get(kind="confirm")
    client = Client()
    client.force_login(fleet.caretaker)
    assert "/notices/confirm/" in notice.text
    assert "/notices/confirm/" not in client.get(f"/notices/{notice.id}/").content.decode()
    assert "/notices/confirm/" not in Phone.of(fleet.caretaker).get(f"/api/v1/notices/{notice.id}/").json()["text"]


def test_it_pauses_after_a_failure_also_where_another_address_works(fleet: Fleet) -> None:
    give_address(fleet.caretaker)
    busy = KeptChannel(lambda _message, _receiver: DeliveryResult(DeliveryOutcome.FAILED, "Busy."))
    add(fleet, busy)
    at = NOW
    for _ in range(4):
        deliver_next(channels={"email": busy}, at=at)
        notice = Notice.objects.get(kind="confirm")
        assert notice.next_at >= at + MINUTE / 2
        at = notice.next_at


def test_it_is_given_up_when_its_address_is_refused(fleet: Fleet) -> None:
    refusing = KeptChannel(lambda _message, _receiver: DeliveryResult(DeliveryOutcome.REFUSED, "Unknown."))
    add(fleet, refusing)
    deliver_all(refusing, NOW)
    assert Notice.objects.get(kind="confirm").status == "failed"
