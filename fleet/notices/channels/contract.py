"""What a channel is given and what it answers. A channel sends once, within its time, and raises nothing."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Protocol
from uuid import UUID

SEND_SECONDS = 10.0  # how long one attempt may take in all: name, connection, handshake, request and answer


class DeliveryOutcome(StrEnum):
    """How an attempt ended. `UNKNOWN`: handed over, and the answer was lost, so the next attempt may be a repeat."""

    SENT = "sent"
    FAILED = "failed"  # worth another attempt
    REFUSED = "refused"  # this address takes no message, now or later: it is of no more use
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class InlineImage:
    """A picture inside a message. `name` is its content id; `text` says the same in words."""

    name: str
    png: bytes
    text: str


@dataclass(frozen=True, slots=True)
class OutgoingMessage:
    """One notice as every channel gets it. `id` is the same at every attempt, so that a receiver sees a repeat.

    `data` is what programs read (JSON values). `is_danger`: it interrupts, and nobody can switch it off.
    `answer_url` opens a page that asks before it acknowledges; `stop_url` ends notices of this kind with one click.
    """

    id: UUID
    created_at: datetime
    kind: str
    level: str
    subject: str
    text: str
    html: str = ""
    data: Mapping[str, object] = field(default_factory=dict)
    is_danger: bool = False
    answer_url: str = ""
    stop_url: str = ""
    images: tuple[InlineImage, ...] = ()


@dataclass(frozen=True, slots=True)
class Receiver:
    """Where one message goes: an address in the channel's own form, and the secrets that sign it, the newest first."""

    address: str
    secrets: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DeliveryResult:
    """How an attempt ended, in one sentence without secrets, and how long the receiver asks to be left alone."""

    outcome: DeliveryOutcome
    answer: str
    retry_after: timedelta | None = None


class Channel(Protocol):
    """One way to reach a person. `at` is the time of the attempt, read by the door."""

    def send(self, message: OutgoingMessage, receiver: Receiver, at: datetime) -> DeliveryResult:
        """Try once to hand the message over."""

    def address_faults(self, address: str) -> list[str]:
        """Return what is wrong with an address, in sentences, without connecting to it."""
