"""What comes of a mail: against a real SMTP server, and against sockets that misbehave."""

import asyncio
import socket
import ssl
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from aiosmtpd.smtp import SMTP, AuthResult, Envelope, Session

from fleet.notices.channels.contract import DeliveryOutcome, DeliveryResult, Receiver
from fleet.notices.channels.email.email_channel import EmailChannel
from fleet.notices.channels.settings import MailSettings
from fleet.notices.channels.tls_trust import trusting_context
from tests.notices.channels.loopback import AT, MESSAGE, LoopbackCertificate, LoopbackServer, make_certificate

SETTINGS = MailSettings("smtp", "Sorrelgate Homes", "notices@boilers.example", host="localhost")
VERA = Receiver("vera@sorrelgate.example")
SENT, FAILED, REFUSED, UNKNOWN = DeliveryOutcome
MAX_WAIT = 5.0  # seconds, far more than the deadlines below, far less than a time-out of the system


class MailBox:
    """Takes mail, but for what `replies` says of a recipient, of a whole message, or once only."""

    def __init__(self) -> None:
        self.taken: list[Envelope] = []
        self.replies: dict[str, str] = {}
        self.data_reply = "250 OK"
        self.once: list[str] = []

    async def handle_RCPT(self, server: SMTP, session: Session, envelope: Envelope, address: str, _: list[str]) -> str:
        if self.once:
            return self.once.pop()
        if reply := self.replies.get(address.partition("@")[0]):
            return reply
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        if self.data_reply.startswith("250"):
            self.taken.append(envelope)
        return self.data_reply


@pytest.fixture
def box() -> MailBox:
    return MailBox()


@pytest.fixture
def certificate(tmp_path: Path) -> LoopbackCertificate:
    return make_certificate(tmp_path, "localhost")


@contextmanager
def serve(box: MailBox, context: ssl.SSLContext | None = None, **options: Any) -> Iterator[int]:
    """Run a real SMTP server on a port of its own, with a context encrypted from the first byte."""
    loop = asyncio.new_event_loop()
    loop.set_exception_handler(lambda *_: None)  # a handshake that the site ends is no fault of this server
    thread = threading.Thread(target=loop.run_forever, daemon=True)
    thread.start()

    def make_protocol() -> SMTP:
        return SMTP(box, loop=loop, hostname="box.example", **options)

    starting = loop.create_server(make_protocol, "127.0.0.1", 0, ssl=context)
    server = asyncio.run_coroutine_threadsafe(starting, loop).result(5)
    yield server.sockets[0].getsockname()[1]
    asyncio.run_coroutine_threadsafe(end_all(server), loop).result(5)
    loop.call_soon_threadsafe(loop.stop)
    thread.join(5)


async def end_all(server: asyncio.Server) -> None:
    """Close the server and what it still talks to."""
    server.close()
    others = asyncio.all_tasks() - {asyncio.current_task()}
    for task in others:
        task.cancel()
    await asyncio.gather(*others, return_exceptions=True)


@pytest.fixture
def port(box: MailBox) -> Iterator[int]:
    with serve(box) as port:
        yield port


def send(settings: MailSettings, receiver: Receiver = VERA, seconds: float = 5.0) -> DeliveryResult:
    return EmailChannel(settings, seconds).send(MESSAGE, receiver, AT)


def test_a_mail_arrives_at_its_one_recipient(box: MailBox, port: int) -> None:
    assert send(replace(SETTINGS, port=port)).outcome is SENT
    (taken,) = box.taken
    assert taken.rcpt_tos == ["vera@sorrelgate.example"]
    assert taken.mail_from == "notices@boilers.example"
    assert b"The low-water cutoff failed its flush." in (taken.original_content or b"")


def test_a_server_that_takes_half_the_recipients_takes_each_mail_whole_or_not_at_all(box: MailBox, port: int) -> None:
    names = [f"person{number}" for number in range(6)]
    box.replies = dict.fromkeys(names[::2], "550 5.1.1 no such mailbox")
    results = [send(replace(SETTINGS, port=port), Receiver(f"{name}@sorrelgate.example")) for name in names]
    assert [result.outcome for result in results] == [REFUSED, SENT] * 3
    assert [taken.rcpt_tos for taken in box.taken] == [[f"{name}@sorrelgate.example"] for name in names[1::2]]


@pytest.mark.parametrize(
    ("reply", "outcome"),
    [
        ("550 5.1.1 no such mailbox", REFUSED),
        ("550 5.2.1 mailbox disabled", REFUSED),
        ("550 no such mailbox", REFUSED),
        ("553 not a mailbox", REFUSED),
        ("554 5.7.1 you are on a list", FAILED),  # the sender's fault: the address stays good
        ("550 5.7.1 you are on a list", FAILED),
        ("552 5.2.2 mailbox full", FAILED),
        ("554 no", FAILED),
        ("450 4.2.0 greylisted, try again later", FAILED),
        ("451 4.7.1 greylisted", FAILED),
        ("421 4.3.2 going down", FAILED),
    ],
)
def test_a_reply_to_the_recipient_says_whether_the_address_is_of_use(
    box: MailBox, port: int, reply: str, outcome: DeliveryOutcome
) -> None:
    box.replies = {"vera": reply}
    result = send(replace(SETTINGS, port=port))
    assert result.outcome is outcome
    assert reply[:3] in result.answer
    assert box.taken == []


@pytest.mark.parametrize(
    ("reply", "outcome"),
    [
        ("452 4.3.1 no room", FAILED),
        ("552 5.3.4 too large", FAILED),
        ("554 spam", FAILED),
        ("550 looks bad", FAILED),
        ("550 5.1.1 no such mailbox after all", REFUSED),
    ],
)
def test_a_reply_to_the_message_ends_an_address_only_if_it_is_about_the_address(
    box: MailBox, port: int, reply: str, outcome: DeliveryOutcome
) -> None:
    box.data_reply = reply
    assert send(replace(SETTINGS, port=port)).outcome is outcome


def test_a_greylisted_mail_is_taken_at_the_second_attempt_with_the_same_id(box: MailBox, port: int) -> None:
    box.once = ["451 4.7.1 greylisted"]
    first, second = send(replace(SETTINGS, port=port)), send(replace(SETTINGS, port=port))
    assert (first.outcome, second.outcome) == (FAILED, SENT)
    assert b"Message-ID: <0198f3c2-7c1e-7b7a-9a54-2f6d3f0c9a11@boilers.example>" in (
        box.taken[0].original_content or b""
    )


@pytest.mark.parametrize("scheme", ["smtp+starttls", "smtps"])
def test_mail_goes_encrypted_where_the_certificate_is_trusted(
    box: MailBox, certificate: LoopbackCertificate, scheme: str
) -> None:
    context = certificate.server_context()
    option = {"context": context} if scheme == "smtps" else {"tls_context": context, "require_starttls": True}
    with serve(box, **option) as port:
        settings = replace(SETTINGS, scheme=scheme, port=port, ca_file=str(certificate.file))
        assert send(settings).outcome is SENT


@pytest.mark.parametrize("scheme", ["smtp+starttls", "smtps"])
@pytest.mark.parametrize("host", ["localhost", "127.0.0.1"])
def test_nothing_is_sent_to_a_server_whose_certificate_is_not_trusted_or_of_another_name(
    box: MailBox, certificate: LoopbackCertificate, scheme: str, host: str
) -> None:
    context = certificate.server_context()
    trusted = str(certificate.file) if host == "127.0.0.1" else ""  # the certificate is for the name localhost
    with serve(box, **({"context": context} if scheme == "smtps" else {"tls_context": context})) as port:
        result = send(replace(SETTINGS, scheme=scheme, host=host, port=port, ca_file=trusted))
        assert (result.outcome, "certificate" in result.answer) == (FAILED, True)
    assert box.taken == []


def test_a_server_without_encryption_gets_nothing_where_encryption_is_set(box: MailBox, port: int) -> None:
    assert send(replace(SETTINGS, scheme="smtp+starttls", port=port)).outcome is FAILED
    assert box.taken == []


@pytest.mark.parametrize(("password", "outcome"), [("right", SENT), ("wrong", FAILED)])
def test_the_site_signs_in_and_repeats_no_password(box: MailBox, password: str, outcome: DeliveryOutcome) -> None:
    def check(server: SMTP, session: Session, envelope: Envelope, mechanism: str, data: Any) -> AuthResult:
        return AuthResult(success=data.password == b"right", handled=False)

    with serve(box, authenticator=check, auth_require_tls=False, auth_required=True) as port:
        result = send(replace(SETTINGS, port=port, user="site", password=password))
        assert result.outcome is outcome
        assert password not in result.answer


def say(connection: socket.socket, *lines: str) -> None:
    """Answer one line after each command."""
    for line in lines:
        connection.sendall(line.encode() + b"\r\n")
        connection.recv(65536)


UNTIL_DATA = ("220 box", "250 box", "250 OK", "250 OK", "354 go on")  # greeting, EHLO, MAIL, RCPT, DATA


def test_a_server_that_closes_after_the_message_before_its_reply_leaves_it_unknown() -> None:
    with LoopbackServer(lambda connection: say(connection, *UNTIL_DATA)).running() as server:
        result = send(replace(SETTINGS, port=server.port))
    assert result == DeliveryResult(UNKNOWN, "The mail server took the message and its reply was lost.")


@pytest.mark.parametrize("count", range(1, len(UNTIL_DATA)))
def test_a_server_that_closes_before_the_message_fails_it(count: int) -> None:
    with LoopbackServer(lambda connection: say(connection, *UNTIL_DATA[:count])).running() as server:
        assert send(replace(SETTINGS, port=server.port)).outcome is FAILED


@pytest.mark.parametrize(
    ("lines", "outcome"), [((), FAILED), (UNTIL_DATA[:3], FAILED), (UNTIL_DATA, UNKNOWN)], ids=["mute", "rcpt", "data"]
)
def test_a_server_that_hangs_is_left_at_the_deadline(lines: tuple[str, ...], outcome: DeliveryOutcome) -> None:
    server = LoopbackServer(lambda connection: None)

    def hang(connection: socket.socket) -> None:
        say(connection, *lines)
        server.stopped.wait(MAX_WAIT)

    server.converse = hang
    began = time.monotonic()
    with server.running():
        assert send(replace(SETTINGS, port=server.port), seconds=0.5).outcome is outcome
    assert 0.4 < time.monotonic() - began < MAX_WAIT


def test_a_handshake_that_hangs_is_left_at_the_deadline() -> None:
    server = LoopbackServer(lambda connection: None)
    server.converse = lambda connection: server.stopped.wait(MAX_WAIT) and None
    began = time.monotonic()
    with server.running():
        assert send(replace(SETTINGS, scheme="smtps", port=server.port), seconds=0.5).outcome is FAILED
    assert time.monotonic() - began < MAX_WAIT


def test_a_server_that_drips_is_left_at_the_deadline() -> None:
    server = LoopbackServer(lambda connection: None)

    def drip(connection: socket.socket) -> None:
        while not server.stopped.wait(0.05):
            connection.sendall(b"2")

    server.converse = drip
    began = time.monotonic()
    with server.running():
        assert send(replace(SETTINGS, port=server.port), seconds=0.5).outcome is FAILED
    assert time.monotonic() - began < MAX_WAIT


def test_a_server_that_floods_is_left() -> None:
    def flood(connection: socket.socket) -> None:
        while True:
            connection.sendall(b"220-more\r\n" * 1000)

    with LoopbackServer(flood).running() as server:
        assert send(replace(SETTINGS, port=server.port)).outcome is FAILED


def test_a_hang_after_the_message_was_accepted_takes_nothing_back() -> None:
    server = LoopbackServer(lambda connection: None)

    def hang_at_the_end(connection: socket.socket) -> None:
        say(connection, *UNTIL_DATA, "250 taken")
        server.stopped.wait(MAX_WAIT)

    server.converse = hang_at_the_end
    with server.running():
        assert send(replace(SETTINGS, port=server.port), seconds=0.5).outcome is SENT


def test_a_server_that_is_away_fails_it() -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
    result = send(replace(SETTINGS, host="127.0.0.1", port=port))
    assert result == DeliveryResult(FAILED, "The mail server did not take it: it refused the connection.")


def test_the_folder_keeps_each_attempt_as_a_file_of_its_own(tmp_path: Path) -> None:
    settings = replace(SETTINGS, scheme="folder", folder=tmp_path / "mail")
    assert [send(settings).outcome for _ in range(2)] == [SENT, SENT]
    kept = sorted((tmp_path / "mail").iterdir())
    assert [path.name for path in kept] == [f"{MESSAGE.id}-2.eml", f"{MESSAGE.id}.eml"]
    assert kept[0].read_bytes() == kept[1].read_bytes()


def test_a_folder_that_cannot_be_written_fails_it(tmp_path: Path) -> None:
    (tmp_path / "mail").write_text("a file")
    result = send(replace(SETTINGS, scheme="folder", folder=tmp_path / "mail"))
    assert result.outcome is FAILED


@pytest.mark.parametrize(
    ("address", "is_good"),
    [
        ("vera@sorrelgate.example", True),
        ("vera.o'neil+boilers@sorrelgate.example", True),
        ("vera@lärkfeld.example", True),
        ("vära@sorrelgate.example", False),
        ("vera", False),
        ("vera@sorrelgate.example\r\nBcc: x@y.example", False),
        ("Vera <vera@sorrelgate.example>", False),
        ("a@b.example,c@d.example", False),
        ("x" * 250 + "@b.example", False),
        ("", False),
    ],
)
def test_an_address_is_one_mailbox(box: MailBox, port: int, address: str, is_good: bool) -> None:
    channel = EmailChannel(replace(SETTINGS, port=port))
    assert (channel.address_faults(address) == []) is is_good
    assert (channel.send(MESSAGE, Receiver(address), AT).outcome is SENT) is is_good
    assert len(box.taken) == is_good


def test_certificates_and_names_are_checked_by_default() -> None:
    context = trusting_context("")
    assert (context.verify_mode, context.check_hostname) == (ssl.CERT_REQUIRED, True)
