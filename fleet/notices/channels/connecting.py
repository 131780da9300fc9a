"""Finding the addresses of a name and connecting to one of them, both before a deadline."""

import queue
import socket
import ssl
import threading
from collections.abc import Callable, Sequence
from ipaddress import IPv4Address, IPv6Address, ip_address

from fleet.notices.channels.deadline import Deadline

Address = IPv4Address | IPv6Address
ResolveName = Callable[[str], Sequence[Address]]

MAX_ADDRESSES_TRIED = 4


class NameUnknown(OSError):
    """Raised where a name has no address, or none was found in time."""


FAILURE_WORDS: tuple[tuple[type[OSError], str], ...] = (
    (NameUnknown, "its name has no address"),
    (TimeoutError, "it took too long"),
    (ssl.SSLCertVerificationError, "its certificate is not trusted for this name"),
    (ssl.SSLError, "no encrypted connection came about"),
    (ConnectionRefusedError, "it refused the connection"),
)


def resolve_name(name: str) -> list[Address]:
    """Return the addresses of a name in the order in which the machine prefers them. Raises NameUnknown."""
    try:
        answers = socket.getaddrinfo(name, None, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError) as error:  # UnicodeError: a label is empty or too long
        raise NameUnknown(f"no address was found for {name[:100]}") from error
    # An IPv6 address may carry the zone of an interface behind a %.
    return list(dict.fromkeys(ip_address(str(answer[4][0]).partition("%")[0]) for answer in answers))


def resolve_before(name: str, deadline: Deadline, resolve: ResolveName = resolve_name) -> list[Address]:
    """Return the addresses of a name. Raises NameUnknown, also where the answer does not come before the deadline.

    The system's resolver takes no time-out, so it is asked in a thread of its own, which a late answer merely ends.
    """
    answers: queue.SimpleQueue[Sequence[Address] | OSError] = queue.SimpleQueue()

    def ask_resolver() -> None:
        try:
            answers.put(resolve(name))
        except OSError as error:
            answers.put(error)

    threading.Thread(target=ask_resolver, name="resolve", daemon=True).start()
    try:
        answer = answers.get(timeout=deadline.seconds_left())
    except queue.Empty:
        raise NameUnknown(f"no address was found for {name[:100]} in time") from None
    if isinstance(answer, OSError):
        raise answer
    return list(answer)


def connect_before(addresses: Sequence[Address], port: int, deadline: Deadline) -> socket.socket:
    """Return a connection to the first address that takes one. Raises OSError where none does before the deadline.

    The time left is shared among the addresses, so that a silent first one leaves time for the second.
    """
    candidates = addresses[:MAX_ADDRESSES_TRIED]
    failure: OSError = NameUnknown("the name has no address")
    for count_left, address in zip(range(len(candidates), 0, -1), candidates, strict=True):
        try:
            connection = socket.create_connection((str(address), port), deadline.seconds_left() / count_left)
            connection.settimeout(deadline.seconds_left())  # a handshake that follows has the rest and no more
            return connection
        except OSError as error:
            failure = error
    raise failure


def describe_failure(error: OSError) -> str:
    """Return in words why a peer was not reached, without the error's text, which may hold names and addresses."""
    return next((words for kind, words in FAILURE_WORDS if isinstance(error, kind)), "the connection broke off")
