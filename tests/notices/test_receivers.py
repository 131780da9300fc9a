"""Receivers that misbehave, by the outbox and the real channels: told once it can be, elsewhere where it cannot."""

import socket
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import timedelta
from uuid import UUID

import pytest

from fleet import tasks
from fleet.heartbeats.services import DELIVERY, read_heartbeats
from fleet.notices.channels.contract import Channel
from fleet.notices.channels.email.email_channel import EmailChannel
from fleet.notices.channels.webhook.webhook_channel import WebhookChannel
from fleet.notices.delivery import deliver_next
from fleet.notices.models import DeliveryAttempt, Destination, Notice
from tests.cast import NOW, Fleet, make_person
from tests.notices.channels.loopback import LoopbackServer
from tests.notices.channels.test_email_channel import SETTINGS, MailBox, serve
from tests.notices.channels.webhook_receiver import NEW, QUICK, read_request
from tests.notices.reach import give_address
from tests.notices.test_outbox import add

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)
MAX_WAIT = 20.0
Misbehave = Callable[["Hook", socket.socket], None]


class Hook:
    """A real receiver of webhooks that behaves in one way, and keeps the first line of each request."""

    def __init__(self, misbehave: Misbehave) -> None:
        self.lines: list[str] = []
        self.server = LoopbackServer(self.converse)
        self.misbehave = misbehave

    def converse(self, connection: socket.socket) -> None:
        head, _ = read_request(connection)
        self.lines.append(head.split("\r\n")[0])
        self.misbehave(self, connection)


def answer_status(line: str, *headers: str) -> Misbehave:
    content = "\r\n".join((f"HTTP/1.1 {line}", *headers, "Content-Length: 0", "", "")).encode()
    return lambda _, connection: connection.sendall(content)


def hang(hook: Hook, connection: socket.socket) -> None:
    hook.server.stopped.wait(MAX_WAIT)


def send_ten_gigabytes(hook: Hook, connection: socket.socket) -> None:
    connection.sendall(b"HTTP/1.1 200 OK\r\nContent-Length: 10737418240\r\n\r\n")
    while not hook.server.stopped.is_set():
        connection.sendall(b"x" * 65536)


def close_early(hook: Hook, connection: socket.socket) -> None:
    """Close without a word."""


@pytest.fixture
def box() -> MailBox:
    """What the mail server took."""
    return MailBox()


@pytest.fixture
def port(box: MailBox) -> Iterator[int]:
    """A real mail server."""
    with serve(box) as port:
        yield port


def channels(port: int) -> dict[str, Channel]:
    return {"webhook": WebhookChannel(QUICK), "email": EmailChannel(replace(SETTINGS, port=port), 5.0)}


def give_hook(fleet: Fleet, hook_port: int) -> Destination:
    """The caretaker's program, before his mail."""
    give_address(fleet.caretaker, "email", rank=1)
    place = give_address(fleet.caretaker, "webhook")
    place.address, place.secret = f"http://127.0.0.1:{hook_port}/hook", NEW
    place.save()
    return place


def deliver_for_a_day(port: int) -> None:
    """Deliver what is to be sent, with the time as an argument: at once, and each hour of a day."""
    for hours in range(24):
        tried: list[UUID] = []
        while notice := deliver_next(channels=channels(port), at=NOW + hours * HOUR, but_not=tried):
            tried.append(notice)


def ids_in(box: MailBox) -> list[str]:
    contents = [(taken.original_content or b"").decode() for taken in box.taken]
    return [content.split("Message-ID: <")[1].split("@")[0] for content in contents]


@pytest.mark.parametrize(
    ("misbehave", "first", "by_mail"),
    [
        (hang, "unknown", 1),
        (close_early, "unknown", 1),
        (answer_status("500 Oh"), "failed", 1),
        (answer_status("302 Found", "Location: /elsewhere"), "failed", 1),
        (answer_status("410 Gone"), "refused", 1),
        (send_ten_gigabytes, "sent", 0),
        (answer_status("204 No Content"), "sent", 0),
    ],
)
def test_a_danger_is_told_by_the_next_address_at_once_where_the_first_does_not_confirm_it(
    misbehave: Misbehave, first: str, by_mail: int, fleet: Fleet, box: MailBox, port: int
) -> None:
    hook = Hook(misbehave)
    with hook.server.running():
        give_hook(fleet, hook.server.port)
        notice, began = add(fleet), time.monotonic()
        for _ in range(2):
            deliver_next(channels=channels(port), at=NOW)
        assert time.monotonic() - began < MAX_WAIT
        deliver_for_a_day(port)
    outcomes = list(DeliveryAttempt.objects.order_by("id").values_list("channel", "outcome"))
    assert sorted(outcomes) == sorted([("webhook", first), *[("email", "sent")] * by_mail])
    assert ids_in(box) == [str(notice.id)] * by_mail
    assert hook.lines == ["POST /hook HTTP/1.1"]  # once: no redirect was followed, and nothing came after its success
    assert Notice.objects.get(id=notice.id).sent_at == NOW


def test_a_receiver_that_is_gone_is_asked_no_more(fleet: Fleet, port: int) -> None:
    hook = Hook(answer_status("410 Gone"))
    with hook.server.running():
        place = give_hook(fleet, hook.server.port)
        for number in range(3):
            add(fleet, number)
        deliver_for_a_day(port)
    assert len(hook.lines) == 1
    assert Destination.objects.get(id=place.id).end_reason == "refused"
    assert not Notice.objects.exclude(status="sent").exists()


@pytest.mark.parametrize("seconds", [1, 2])
def test_a_run_ends_soon_while_every_receiver_hangs_and_leaves_the_others_to_the_next(
    seconds: int, fleet: Fleet, port: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    hook = Hook(hang)
    monkeypatch.setattr(tasks, "channels_in_use", lambda: channels(port))
    monkeypatch.setattr(tasks, "DELIVERY_RUN", timedelta(seconds=seconds))
    with hook.server.running():
        give_hook(fleet, hook.server.port)
        Destination.objects.filter(channel="email").delete()
        for number in range(9):
            add(fleet, number)
        began = time.monotonic()
        tasks.deliver()
        took = time.monotonic() - began
    assert QUICK.seconds <= took < seconds + 6 * QUICK.seconds
    assert DELIVERY in read_heartbeats()  # its queue is served, however slowly
    left = Notice.objects.filter(status="waiting", tries=0)
    assert 0 < left.count() < 9
    assert set(left.values_list("claimed_until", flat=True)) == {None}


def test_of_a_mail_server_that_takes_half_the_recipients_each_one_it_takes_is_told_once(
    fleet: Fleet, box: MailBox, port: int
) -> None:
    people = [make_person(f"person{number}", fleet.portfolio, "manager") for number in range(6)]
    box.replies = {"person0": "550 5.1.1 no such mailbox", "person2": "450 4.2.0 later", "person4": "451 4.7.1 later"}
    notices = []
    for number, person in enumerate(people):
        give_address(person)
        notices.append(add(fleet, number, user=person))
    deliver_for_a_day(port)
    assert sorted(ids_in(box)) == sorted(str(notice.id) for notice in notices[1::2])
    box.replies = {}
    deliver_for_a_day(port)
    later = timedelta(hours=30)
    while deliver_next(channels=channels(port), at=NOW + later):
        pass
    taken = [str(notice.id) for number, notice in enumerate(notices) if number != 0]
    assert sorted(ids_in(box)) == sorted(taken)
    assert Destination.objects.get(user=people[0]).end_reason == "refused"
    assert Notice.objects.get(id=notices[0].id).status == "waiting"  # whoever has no address now may give one
