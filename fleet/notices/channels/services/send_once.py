"""Sends one message by the notification library, in a process of its own that can be ended at the deadline.

Reads a JSON object from standard input (url, hosts, title, body, is_danger). Writes `begun` to standard output when the
first request is about to leave, and at the end a JSON object (is_sent, statuses, may_have_left, is_refused).

The library alone decides where its requests go. So in this process no redirect is followed, and whatever is connected
to is looked up by a guard: it has to stand for public addresses, or the operator's template names it as its host.
"""

import json
import socket
import sys
from collections.abc import Callable, Collection
from dataclasses import asdict, dataclass, field
from functools import partial, wraps
from ipaddress import ip_address

import apprise
import requests
from urllib3.exceptions import ConnectTimeoutError, NewConnectionError

from fleet.notices.channels.outbound.public_addresses import is_public

BEGUN = "begun"


@dataclass
class RequestLog:
    """What came of the requests of one message. `may_have_left`: one left, or may have, and no answer came."""

    is_sent: bool = False
    statuses: list[int] = field(default_factory=list)
    may_have_left: bool = False
    is_refused: bool = False


def send_order() -> None:
    """Send what standard input says, and tell what came of it."""
    order = json.load(sys.stdin)
    log = RequestLog()
    guard_lookups(order["hosts"], log)
    watch_requests(log)
    asset = apprise.AppriseAsset(storage_mode=apprise.PersistentStoreMode.MEMORY, plugin_paths=[], http_redirects=False)
    sender = apprise.Apprise(asset=asset)
    kind = apprise.NotifyType.WARNING if order["is_danger"] else apprise.NotifyType.INFO
    log.is_sent = sender.add(order["url"]) and bool(
        sender.notify(title=order["title"], body=order["body"], notify_type=kind)
    )
    print(json.dumps(asdict(log)))  # noqa: T201  # this is how the process answers


def guard_lookups(hosts: Collection[str], log: RequestLog) -> None:
    """Refuse every name and address that stands for anything but public addresses, `hosts` aside.

    Connections go to what was looked up here, so nothing is looked up twice.
    """
    look_up = socket.getaddrinfo

    @wraps(look_up)
    def look_up_checked(host: str, *rest: object, **options: object) -> list[tuple[object, ...]]:
        answers = look_up(host, *rest, **options)  # type: ignore[arg-type]
        addresses = [ip_address(str(answer[4][0]).partition("%")[0]) for answer in answers]
        if str(host).lower() not in hosts and not all(is_public(address) for address in addresses):
            log.is_refused = True
            raise socket.gaierror("not an address that this site sends to")
        return list(answers)

    socket.getaddrinfo = look_up_checked  # type: ignore[assignment]


def watch_requests(log: RequestLog) -> None:
    """Follow no redirect, and note what came of each request."""
    send = requests.Session.send

    @wraps(send)
    def send_watched(
        session: requests.Session, request: requests.PreparedRequest, **options: object
    ) -> requests.Response:
        session.trust_env = False
        print(BEGUN, flush=True)  # noqa: T201
        call: Callable[[], requests.Response] = partial(send, session, request, **{**options, "allow_redirects": False})
        try:
            response = call()
        except requests.RequestException as error:
            log.may_have_left |= may_have_left(error)
            raise
        log.statuses.append(response.status_code)
        return response

    requests.Session.send = send_watched  # type: ignore[method-assign, assignment]


def may_have_left(error: requests.RequestException) -> bool:
    """Return whether a request that failed may have reached its receiver: only a failed connection rules that out."""
    reason = getattr(error.args[0] if error.args else None, "reason", None)
    never_left = (requests.exceptions.ConnectTimeout, requests.exceptions.SSLError)
    return not isinstance(error, never_left) and not isinstance(reason, NewConnectionError | ConnectTimeoutError)


if __name__ == "__main__":
    send_order()
