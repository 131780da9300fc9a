"""A receiver of webhooks on loopback, and one attempt to send to it."""

import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from ipaddress import ip_address
from typing import Any

from fleet.notices.channels.connecting import Address, NameUnknown
from fleet.notices.channels.contract import DeliveryOutcome, DeliveryResult, Receiver
from fleet.notices.channels.outbound.http_post import OutboundPolicy
from fleet.notices.channels.outbound.public_addresses import read_networks
from fleet.notices.channels.webhook.signed_payload import make_secret
from fleet.notices.channels.webhook.webhook_channel import WebhookChannel
from tests.notices.channels.loopback import AT, LoopbackServer, message_with

SENT, FAILED, REFUSED, UNKNOWN = DeliveryOutcome
OLD, NEW = make_secret(), make_secret()
ALLOWED = OutboundPolicy(networks=read_networks("127.0.0.1/32"), seconds=5.0)
QUICK = replace(ALLOWED, seconds=0.5)
MAX_WAIT = 5.0
OK = b"HTTP/1.1 200 OK\r\nContent-Length: 2\r\n\r\nok"
PUBLIC = ip_address("93.184.215.14")


@dataclass
class RequestBox:
    """Keeps each request, head and body, and answers the same to all."""

    answer: bytes = OK
    heads: list[str] = field(default_factory=list)
    bodies: list[bytes] = field(default_factory=list)

    def converse(self, connection: socket.socket) -> None:
        head, body = read_request(connection)
        self.heads.append(head)
        self.bodies.append(body)
        connection.sendall(self.answer)

    def headers(self) -> dict[str, str]:
        """The headers of the last request, by their names in small letters."""
        lines = self.heads[-1].split("\r\n")[1:]
        return {name.lower(): value for name, _, value in (line.partition(": ") for line in lines)}


def read_request(connection: socket.socket) -> tuple[str, bytes]:
    """Read one request whole."""
    data = b""
    while b"\r\n\r\n" not in data:
        data += connection.recv(65536)
    head, _, body = data.partition(b"\r\n\r\n")
    length = next(
        int(line.split(b":")[1]) for line in head.split(b"\r\n") if line.lower().startswith(b"content-length")
    )
    while len(body) < length:
        body += connection.recv(65536)
    return head.decode("ascii"), body


@contextmanager
def receiving(converse: Callable[[socket.socket], None]) -> Iterator[LoopbackServer]:
    with LoopbackServer(converse).running() as server:
        yield server


def send(
    port: int, policy: OutboundPolicy = ALLOWED, url: str = "http://127.0.0.1:{port}/hook", **changes: Any
) -> DeliveryResult:
    receiver = Receiver(url.format(port=port), (NEW,))
    return WebhookChannel(policy).send(message_with(**changes), receiver, AT)


def names(answers: dict[str, list[Address]]) -> Callable[[str], list[Address]]:
    """A resolver that knows these names."""

    def resolve(name: str) -> list[Address]:
        if name not in answers:
            raise NameUnknown(name)
        return answers[name]

    return resolve
