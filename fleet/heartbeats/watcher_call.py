"""The dead man's switch: an address outside this machine is called while all is well, so that it hears of silence.

Nothing is sent but the call itself. Its answer is not read beyond the status.
"""

import socket
import ssl
from collections.abc import Mapping
from contextlib import suppress
from datetime import datetime
from http.client import HTTPConnection, HTTPException, HTTPSConnection
from threading import Timer
from urllib.parse import urlsplit

from fleet.heartbeats.models import Heartbeat
from fleet.heartbeats.services import (
    PARTS,
    WATCHER_CALLED,
    WATCHER_FAILED,
    is_on_time,
    note_heartbeat,
    read_heartbeats,
)

CALL_SECONDS = 5.0  # for the whole call, however slowly the other side answers


def late_parts(heartbeats: Mapping[str, Heartbeat], at: datetime) -> list[str]:
    """Return the parts that were not seen in time. While there is one the watcher is not called: it must hear silence.

    The call itself shows no more than that beat, broker and the delivery worker run.
    """
    return [part for part in PARTS if not is_on_time(heartbeats.get(part), at)]


def call_watcher_if_well(url: str, at: datetime) -> None:
    """Call the watcher unless a part is late, and note how the call went."""
    if late_parts(read_heartbeats(), at):
        return
    failure = call_watcher(url)
    note_heartbeat(WATCHER_FAILED if failure else WATCHER_CALLED, at, failure)


def call_watcher(url: str, seconds: float = CALL_SECONDS) -> str:
    """Call the address once and return "" where it answered with success, else why the call failed, in a few words.

    Redirects are not followed. The words name neither the address, which may hold a secret, nor what was answered.
    """
    connection = _open_connection(url, seconds)
    try:
        connection.connect()
        status = _ask_status(connection, url, seconds)
    except TimeoutError:
        return "no answer in time"
    except ssl.SSLError:
        return "no secure connection"
    except (OSError, HTTPException, ValueError) as error:
        return "connection refused" if isinstance(error, ConnectionRefusedError) else "no answer"
    finally:
        connection.close()
    return "" if 200 <= status < 300 else f"answered {status}"


def _open_connection(url: str, seconds: float) -> HTTPConnection:
    parts = urlsplit(url)
    host = parts.hostname or ""
    if parts.scheme == "https":
        return HTTPSConnection(host, parts.port, timeout=seconds, context=ssl.create_default_context())
    return HTTPConnection(host, parts.port, timeout=seconds)


def _ask_status(connection: HTTPConnection, url: str, seconds: float) -> int:
    """Send the request and return the status. Raises TimeoutError where the answer is not there in time.

    A time-out of the socket begins anew with each byte, so a clock of its own ends a connection that trickles.
    """
    has_ended: list[bool] = []

    def end_connection() -> None:
        has_ended.append(True)
        with suppress(OSError):
            connection.sock.shutdown(socket.SHUT_RDWR)

    clock = Timer(seconds, end_connection)
    clock.daemon = True
    clock.start()
    try:
        parts = urlsplit(url)
        target = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
        connection.request("GET", target, headers={"User-Agent": "Gaugeglass", "Connection": "close"})
        status = connection.getresponse().status
        if has_ended:  # an answer cut off behind its status reads like a whole one
            raise TimeoutError
        return status
    except (OSError, HTTPException) as error:
        if has_ended:
            raise TimeoutError from error
        raise
    finally:
        clock.cancel()
