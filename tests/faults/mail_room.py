"""A real mail server on loopback that counts messages by their id, and that now and then fails as such servers do."""

import asyncio
import random
import threading
import time
from collections import defaultdict
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from email import message_from_bytes
from email.policy import default
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session

from tests.management.machine import free_port

TAKEN, TAKEN_UNANSWERED, PUT_OFF = "taken", "taken_unanswered", "put_off"


@dataclass
class MailRoom:
    """Every message that arrived, by its id: how each arrival ended, in order."""

    chance: random.Random
    fails: bool = True
    arrivals: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    arrived_at: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    lock: threading.Lock = field(default_factory=threading.Lock)

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        """Take one message: most at once, some late, some put off, and of some the reply gets lost."""
        luck = self.chance.random() if self.fails else 1.0
        await asyncio.sleep(self.chance.uniform(0, 0.6) if luck < 0.4 else 0)
        if luck < 0.03:
            self._note_arrival(envelope, PUT_OFF)
            return "451 4.3.0 Try again later"
        if luck < 0.06:
            self._note_arrival(envelope, TAKEN_UNANSWERED)
            transport: Any = server.transport
            transport.abort()
            return "250 never heard"
        self._note_arrival(envelope, TAKEN)
        return "250 2.0.0 OK"

    def _note_arrival(self, envelope: Envelope, how: str) -> None:
        content = envelope.content
        message = message_from_bytes(content if isinstance(content, bytes) else b"", policy=default)
        notice = str(message["Message-ID"]).strip("<>").partition("@")[0]
        with self.lock:
            self.arrivals[notice].append(how)
            self.arrived_at[notice].append(time.time())

    def count_taken(self) -> Mapping[str, int]:
        """Return how often each message was taken, with and without a reply."""
        with self.lock:
            return {notice: sum(how != PUT_OFF for how in ways) for notice, ways in self.arrivals.items()}


@contextmanager
def run_mail_room(room: MailRoom) -> Iterator[Mapping[str, str]]:
    """Serve `room` until the block ends. Yields the settings by which a site sends there."""
    port = free_port()
    controller = Controller(room, hostname="127.0.0.1", port=port)
    controller.start()
    try:
        yield {"GAUGEGLASS_MAIL": f"smtp://127.0.0.1:{port}", "GAUGEGLASS_MAIL_FROM": "notices@boilers.example"}
    finally:
        controller.stop()
