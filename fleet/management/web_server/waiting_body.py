"""The body of one request, read whole within bounds of size and time."""

import asyncio
import tempfile
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from tempfile import SpooledTemporaryFile
from typing import Any

from fleet.records.disk_room import free_bytes

Message = Mapping[str, object]
Receive = Callable[[], Awaitable[Message]]
Body = SpooledTemporaryFile[bytes]

FILE_ROOM_BYTES = 64 * 1024 * 1024  # free on the disk of temporary files, so that files are made there
MEMORY_BYTES = 64 * 1024  # of one request or answer; what is longer waits in a file that has no name


def new_body() -> Body:
    """Return an empty body: in memory while it is short, else in a file. The caller closes it.

    Without room on the disk it stays in memory, however long it becomes: a site on a full disk still shows its pages.
    """
    has_file_room = free_bytes(Path(tempfile.gettempdir())) >= FILE_ROOM_BYTES
    return SpooledTemporaryFile(max_size=MEMORY_BYTES if has_file_room else 0)  # 0: never moved to a file


@dataclass(frozen=True, slots=True)
class BodyLimits:
    """Bounds of bodies: bytes of one, bytes of all that wait in this process, seconds of silence, seconds in all."""

    body_bytes: int
    waiting_bytes: int
    silent_seconds: float
    total_seconds: float


class RequestRefused(Exception):
    """Raised for a request that is not taken: the status to answer with, a code and a sentence."""

    def __init__(self, status: int, code: str, detail: str) -> None:
        super().__init__(detail)
        self.status, self.code, self.detail = status, code, detail


class ClientGone(Exception):
    """Raised where the client closed its connection before its request was whole."""


class BodyReader:
    """Reads bodies and counts how many bytes wait in this process. For one event loop."""

    def __init__(self, limits: BodyLimits) -> None:
        self.limits = limits
        self.waiting_bytes = 0

    async def read_body(self, receive: Receive, announced: int, body: Body) -> int:
        """Write the whole body to `body` and return its length.

        Raises RequestRefused where it is too long or too slow, ClientGone where the client has left.
        """
        if announced > self.limits.body_bytes:
            raise self._too_long()
        try:
            async with asyncio.timeout(self.limits.total_seconds):
                return await self._write_chunks(receive, body)
        except TimeoutError:
            raise RequestRefused(408, "too_slow", "The request did not arrive in time. Send it again.") from None

    def release(self, length: int) -> None:
        """Count a body no longer that has been answered or given up."""
        self.waiting_bytes -= length

    async def _write_chunks(self, receive: Receive, body: Body) -> int:
        length, has_more = 0, True
        try:
            while has_more:
                async with asyncio.timeout(self.limits.silent_seconds):
                    message = await _receive_message(receive)
                if message["type"] == "http.disconnect":
                    raise ClientGone
                chunk, has_more = message.get("body", b""), message.get("more_body", False)
                length += len(chunk)
                self.waiting_bytes += len(chunk)
                self._check_room(length)
                _write_chunk(body, chunk)
        except BaseException:
            self.release(length)
            raise
        return length

    def _check_room(self, length: int) -> None:
        if length > self.limits.body_bytes:
            raise self._too_long()
        if self.waiting_bytes > self.limits.waiting_bytes:
            raise RequestRefused(503, "busy", "Too much is being sent at once. Try again in a moment.")

    def _too_long(self) -> RequestRefused:
        return RequestRefused(413, "too_large", f"A request can be at most {self.limits.body_bytes >> 20} MiB.")


def _write_chunk(body: Body, chunk: bytes) -> None:
    try:
        body.write(chunk)
    except OSError:  # the disk of temporary files has filled up meanwhile
        raise RequestRefused(503, "no_room", "There is no room to take this in. Try again later.") from None


async def _receive_message(receive: Receive) -> Any:
    """Return the next part of a request. Raises RequestRefused where its form is broken, as that of chunks may be."""
    try:
        return await receive()
    except TimeoutError:
        raise
    except Exception:
        raise RequestRefused(400, "broken_body", "The body of the request could not be read.") from None
