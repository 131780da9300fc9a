"""One POST to a receiver that a person named: checked address, pinned connection, no redirects, bounded answer.

A name is resolved once and every one of its addresses is checked; the connection then goes to a checked address, with
the name for the certificate. A name that stands for something else a moment later changes nothing. No proxy is asked,
whatever the environment says.
"""

import http.client
import io
import re
import socket
import ssl
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field

from fleet.notices.channels.connecting import (
    ResolveName,
    connect_before,
    describe_failure,
    resolve_before,
    resolve_name,
)
from fleet.notices.channels.contract import SEND_SECONDS
from fleet.notices.channels.deadline import Deadline, DeadlineReader
from fleet.notices.channels.outbound.public_addresses import Address, Network, is_allowed
from fleet.notices.channels.outbound.target_url import TargetUrl, read_target

MAX_ANSWER_BYTES = 64 * 1024
READ_BYTES = 8 * 1024
BODY_SECONDS = 1.0  # for the answer's body, which says nothing that its status does not
HEADER_VALUE = re.compile(r"[\x20-\x7e]*")


class AddressRefused(Exception):
    """Raised where a name stands for an address to which nothing may be sent."""


class NotSent(Exception):
    """Raised where the request did not leave whole, so the receiver cannot have acted on it."""


class AnswerLost(Exception):
    """Raised where the request left whole and no answer came: nobody knows what the receiver did."""


@dataclass(frozen=True, slots=True)
class OutboundPolicy:
    """Where requests may go and what they trust. `networks` are the operator's; plain http is for these only."""

    networks: Sequence[Network] = ()
    seconds: float = SEND_SECONDS
    tls_context: ssl.SSLContext = field(default_factory=ssl.create_default_context)
    resolve: ResolveName = resolve_name


@dataclass(frozen=True, slots=True)
class HttpAnswer:
    """The head of an answer, as far as it is used."""

    status: int
    retry_after: str


@dataclass(frozen=True, slots=True)
class AnswerSource:
    """Looks like a socket to the reader of answers, which only asks it for a file."""

    reader: DeadlineReader

    def makefile(self, mode: str) -> io.BufferedReader:
        """Return what the answer is read from."""
        return io.BufferedReader(self.reader)


def post_once(url: str, headers: Mapping[str, str], body: bytes, policy: OutboundPolicy) -> HttpAnswer:
    """Send one request and return its answer, a redirect included, which is not followed.

    Raises UnfitTarget, AddressRefused or NotSent where nothing arrived whole, AnswerLost where it may have.
    """
    deadline = Deadline.in_seconds(policy.seconds)
    target = read_target(url, policy.networks)
    request = _compose_request(target, headers, body)
    try:
        connection = _open_connection(target, deadline, policy)
    except OSError as error:
        raise NotSent(describe_failure(error)) from error
    with connection:
        try:
            connection.settimeout(deadline.seconds_left())
            connection.sendall(request)  # its time-out counts for all of it
        except OSError as error:
            raise NotSent(describe_failure(error)) from error
        return _read_answer(connection, deadline)


def _compose_request(target: TargetUrl, headers: Mapping[str, str], body: bytes) -> bytes:
    lines = {
        "Host": target.host_header,
        "User-Agent": "Gaugeglass",
        "Accept-Encoding": "identity",
        "Content-Length": str(len(body)),
        "Connection": "close",
        **headers,
    }
    if not all(HEADER_VALUE.fullmatch(value) for value in lines.values()):
        raise ValueError("a header holds more than one line")
    head = "".join(f"{name}: {value}\r\n" for name, value in lines.items())
    return f"POST {target.path} HTTP/1.1\r\n{head}\r\n".encode("ascii") + body


def _open_connection(target: TargetUrl, deadline: Deadline, policy: OutboundPolicy) -> socket.socket:
    """Connect to a checked address. Raises AddressRefused, OSError."""
    addresses = [target.literal] if target.literal else resolve_before(target.host, deadline, policy.resolve)
    _check_addresses(target, addresses, policy.networks)
    connection = connect_before(addresses, target.port, deadline)
    if target.scheme == "http":
        return connection
    try:
        connection.settimeout(deadline.seconds_left())  # the handshake counts it as a whole
        return policy.tls_context.wrap_socket(connection, server_hostname=target.host.rstrip("."))
    except OSError:
        connection.close()
        raise


def _check_addresses(target: TargetUrl, addresses: Sequence[Address], networks: Sequence[Network]) -> None:
    """Refuse a name if any of its addresses may not be sent to: which one would be taken is not the site's choice."""
    if not all(is_allowed(address, networks) for address in addresses):
        raise AddressRefused("The name stands for an address in a network that this site does not send to.")
    is_own_network = all(any(address in network for network in networks) for address in addresses)
    if target.scheme == "http" and not is_own_network:
        raise AddressRefused("Outside the networks that the operator names the address has to begin with https://.")


def _read_answer(connection: socket.socket, deadline: Deadline) -> HttpAnswer:
    reader = DeadlineReader(connection, deadline, MAX_ANSWER_BYTES)
    response = http.client.HTTPResponse(AnswerSource(reader), method="POST")  # type: ignore[arg-type]
    try:
        response.begin()
    except (OSError, http.client.HTTPException) as error:
        raise AnswerLost from error
    with suppress(OSError, http.client.HTTPException, ValueError):
        # A receiver that is cut off in its answer may take that for a fault of its own: it gets a moment to end it.
        reader.deadline = Deadline(min(deadline.ends_at, Deadline.in_seconds(BODY_SECONDS).ends_at))
        while response.read(READ_BYTES):  # never by its announced length, for which memory would be taken at once
            pass
    return HttpAnswer(response.status, response.headers.get("Retry-After", ""))
