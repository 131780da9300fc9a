"""A real mail server and a real receiver of webhooks on loopback, which count messages by their id.

Now and then they fail as such receivers do: late, put off, or with an answer that gets lost.
"""

import asyncio
import random
import threading
import time
from collections import defaultdict
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from email import message_from_bytes
from email.policy import default
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session
from standardwebhooks import Webhook, WebhookVerificationError

from tests.management.machine import free_port

TAKEN, TAKEN_UNANSWERED, PUT_OFF, FORGED = "taken", "taken unanswered", "put off", "not signed by the site"
MAX_DELAY_SECONDS = 0.6


@dataclass
class ReceivedMessages:
    """Every message that arrived, by its id: how each arrival ended, in order. `fails`: some of them end badly.

    `is_time_real`: the site signs with the time that is, and not with one that a check moved on.
    """

    chance: random.Random
    fails: bool = True
    is_time_real: bool = True
    arrivals: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    watcher_calls: list[str] = field(default_factory=list)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def choose_ending(self) -> tuple[float, str]:
        """Return after how many seconds the next arrival ends, and how."""
        with self.lock:
            luck = self.chance.random() if self.fails else 1.0
            delay = self.chance.uniform(0, MAX_DELAY_SECONDS) if luck < 0.4 else 0.0
        return delay, PUT_OFF if luck < 0.03 else TAKEN_UNANSWERED if luck < 0.06 else TAKEN

    def note_arrival(self, notice: str, how: str) -> None:
        """Note how one arrival of a message ended."""
        with self.lock:
            self.arrivals[notice].append(how)

    def count_taken(self) -> Mapping[str, int]:
        """Return how often each message was taken, with and without an answer."""
        with self.lock:
            return {notice: sum(how != PUT_OFF for how in ways) for notice, ways in self.arrivals.items()}


@dataclass(frozen=True)
class MailHandler:
    """What the mail server does with a message."""

    received: ReceivedMessages

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        """Take one message, or fail it."""
        delay, how = self.received.choose_ending()
        await asyncio.sleep(delay)
        content = envelope.content
        message = message_from_bytes(content if isinstance(content, bytes) else b"", policy=default)
        self.received.note_arrival(str(message["Message-ID"]).strip("<>").partition("@")[0], how)
        if how == TAKEN_UNANSWERED:
            transport: Any = server.transport
            transport.abort()
        return "451 4.3.0 Try again later" if how == PUT_OFF else "250 2.0.0 OK"


def is_signed(scheme: Webhook, body: bytes, headers: Mapping[str, str], is_time_real: bool) -> bool:
    """Return whether the site signed this. The library takes no time of more than five minutes before or behind."""
    if not is_time_real:
        signed_at = datetime.fromtimestamp(int(headers["webhook-timestamp"]), UTC)
        signature = scheme.sign(headers["webhook-id"], signed_at, body.decode())
        return signature in headers["webhook-signature"].split()
    try:
        scheme.verify(body, dict(headers))
    except WebhookVerificationError:
        return False
    return True


def make_hook_handler(received: ReceivedMessages, secret: str) -> type[BaseHTTPRequestHandler]:
    """Return what the receiver of webhooks does with a request. What the site did not sign is noted as forged."""

    class HookHandler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            delay, how = received.choose_ending()
            time.sleep(delay)
            headers = {name.lower(): value for name, value in self.headers.items()}
            if not is_signed(Webhook(secret), body, headers, received.is_time_real):
                how = FORGED
            received.note_arrival(self.headers["webhook-id"], how)
            self.close_connection = True
            if how != TAKEN_UNANSWERED:
                self.send_response(503 if how == PUT_OFF else 204)
                self.end_headers()

        def do_GET(self) -> None:
            """What the outside watcher hears, once a minute while nothing is late."""
            received.watcher_calls.append(self.path)
            self.send_response(204)
            self.end_headers()

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    return HookHandler


@contextmanager
def run_receivers(received: ReceivedMessages, secret: str) -> Iterator[Mapping[str, str]]:
    """Run both until the block ends. Yields the settings by which a site sends there, and where webhooks go."""
    mail_port = free_port()
    mail = Controller(MailHandler(received), hostname="127.0.0.1", port=mail_port)
    mail.start()
    with ThreadingHTTPServer(("127.0.0.1", 0), make_hook_handler(received, secret)) as hooks:
        threading.Thread(target=hooks.serve_forever, daemon=True).start()
        try:
            yield {
                "GAUGEGLASS_MAIL": f"smtp://127.0.0.1:{mail_port}",
                "GAUGEGLASS_MAIL_FROM": "notices@boilers.example",
                "GAUGEGLASS_WEBHOOK_NETWORKS": "127.0.0.1/32",
                "GAUGEGLASS_WATCHER_URL": f"http://127.0.0.1:{hooks.server_port}/watch",
                "HOOK_ADDRESS": f"http://127.0.0.1:{hooks.server_port}/hook",
                "HOOK_SECRET": secret,
            }
        finally:
            hooks.shutdown()
            mail.stop()
