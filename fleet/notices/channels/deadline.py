"""One deadline for everything that an attempt does over a socket: each step gets what is left of it.

A time-out of a socket counts anew with every byte, so a peer that drips would never meet it.
"""

import io
import socket
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from _typeshed import WriteableBuffer


@dataclass(frozen=True, slots=True)
class Deadline:
    """The end of an attempt, by a clock that only measures durations."""

    ends_at: float

    @classmethod
    def in_seconds(cls, seconds: float) -> "Deadline":
        """Return the deadline that is so many seconds away."""
        return cls(time.monotonic() + seconds)

    def seconds_left(self) -> float:
        """Return what is left of it, more than 0. Raises TimeoutError when it has passed."""
        seconds = self.ends_at - time.monotonic()
        if seconds <= 0:
            raise TimeoutError("the time of this attempt is over")
        return seconds


class DeadlineReader(io.RawIOBase):
    """Reads a socket until the deadline, and at most so many bytes; what is beyond looks like the end of the stream."""

    def __init__(self, connection: socket.socket, deadline: Deadline, max_bytes: int) -> None:
        super().__init__()
        self.deadline = deadline  # may be replaced by an earlier one
        self._connection, self._bytes_left = connection, max_bytes

    def readable(self) -> bool:
        """It can be read, which a buffer on top of it asks."""
        return True

    def readinto(self, buffer: "WriteableBuffer") -> int:
        """Fill `buffer` with what comes next; 0 at the end. Raises TimeoutError when the deadline has passed."""
        view = memoryview(buffer)[: self._bytes_left]
        if not view:
            return 0
        self._connection.settimeout(self.deadline.seconds_left())
        count = self._connection.recv_into(view)
        self._bytes_left -= count
        return count
