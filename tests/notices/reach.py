"""People of the cast who can be reached, and a channel that remembers what it was given."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime

from fleet.accounts.models import User
from fleet.notices.channels.contract import DeliveryOutcome, DeliveryResult, OutgoingMessage, Receiver
from fleet.notices.delivery import deliver_next
from fleet.notices.models import Destination, Notice
from tests.cast import LONG_AGO, Fleet, make_person

SENT = DeliveryResult(DeliveryOutcome.SENT, "Taken.")
Answer = Callable[[OutgoingMessage, Receiver], DeliveryResult]


@dataclass
class KeptChannel:
    """Stands for a receiver at the world's edge: keeps every message, and answers as it is told to."""

    answer: Answer = lambda _message, _receiver: SENT
    got: list[tuple[str, OutgoingMessage]] = field(default_factory=list)

    def send(self, message: OutgoingMessage, receiver: Receiver, at: datetime) -> DeliveryResult:
        """Keep the message."""
        result = self.answer(message, receiver)
        if result.outcome in (DeliveryOutcome.SENT, DeliveryOutcome.UNKNOWN):
            self.got.append((receiver.address, message))
        return result

    def address_faults(self, address: str) -> list[str]:
        """Take any address."""
        return []


def give_address(user: User, channel: str = "email", at: datetime = LONG_AGO, rank: int = 0) -> Destination:
    """Give a person a confirmed address."""
    address = f"{user.username}@sorrelgate.example" if channel == "email" else f"{channel}:{user.username}"
    return Destination.objects.create(
        user=user, channel=channel, address=address, rank=rank, made_at=at, confirmed_at=at, secret="first-secret"
    )


def staff(fleet: Fleet) -> dict[str, User]:
    """Give the fleet a manager, a dispatcher and an owner, and addresses to them and the caretaker."""
    people = {role: make_person(f"{role}1", fleet.portfolio, role) for role in ("manager", "dispatcher", "owner")}
    people["caretaker"] = fleet.caretaker
    for user in people.values():
        give_address(user)
    return people


def told(kind: str = "call") -> list[tuple[str, datetime]]:
    """Who has a notice of this kind, and since when, in the order written."""
    rows = Notice.objects.filter(kind=kind).order_by("created_at", "user__username")
    return [(row.user.username, row.created_at) for row in rows]


def deliver_all(channel: KeptChannel, at: datetime, name: str = "email") -> int:
    """Try everything that waits once, and return how many attempts that were."""
    tried = []
    while notice := deliver_next(channels={name: channel}, at=at, but_not=tried):
        tried.append(notice)
    return len(tried)
