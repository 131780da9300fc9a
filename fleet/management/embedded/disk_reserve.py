"""Room kept free for a full disk: a file that is given up so that the database can start and show what it has."""

import os
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from fleet.management.embedded.folder import MB
from fleet.management.embedded.machine_errors import DISK_FULL_ERRNOS
from fleet.records.disk_room import ROOM_FOR_WRITES_BYTES, free_bytes

RESERVE_NAME, RESERVE_BYTES = "reserve", 32 * MB  # two of the database's log segments; less than what stops the writes


@dataclass(slots=True)
class DiskReserve:
    """The reserve of one data folder. It says when the site stops saving for want of room, and when it saves again."""

    folder: Path
    say: Callable[[str], None]
    is_short: bool = field(default=False, init=False)

    def look_at_disk(self) -> None:
        """Make the reserve where there is room for it, and say what changed since the last look."""
        free = free_bytes(self.folder)
        if not self._path.exists() and free >= ROOM_FOR_WRITES_BYTES + RESERVE_BYTES:
            self._make_reserve()
        if (free < ROOM_FOR_WRITES_BYTES) == self.is_short:
            return
        self.is_short = not self.is_short
        if self.is_short:
            self.say(
                f"The disk that holds {self.folder} has only {free // MB} MB left and {ROOM_FOR_WRITES_BYTES // MB} MB "
                "are needed: the site shows what it has and saves nothing until there is room."
            )
        else:
            self.say(f"The disk that holds {self.folder} has room again: the site saves again.")

    def is_disk_full(self) -> bool:
        """Return whether not even a line of a log can be written, which would have told of it."""
        return free_bytes(self.folder) < MB

    def give_up(self) -> bool:
        """Remove the reserve. Return whether there was one."""
        if not self._path.exists():
            return False
        self._path.unlink()
        return True

    @property
    def _path(self) -> Path:
        return self.folder / RESERVE_NAME

    def _make_reserve(self) -> None:
        handle = os.open(self._path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)
        try:
            _allocate(handle)
        except OSError as error:
            self._path.unlink()
            if error.errno not in DISK_FULL_ERRNOS:
                raise
        finally:
            os.close(handle)


def _allocate(handle: int) -> None:
    if hasattr(os, "posix_fallocate"):
        os.posix_fallocate(handle, 0, RESERVE_BYTES)
    else:  # macOS
        os.write(handle, bytes(RESERVE_BYTES))
