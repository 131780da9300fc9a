"""Whether the disk has room for what is posted. Reads go on without room; writes, sweep and imports wait for it."""

import os
from pathlib import Path

from django.conf import settings

# The database writes its log in segments of 16 MB: with less than a few of them a write could stop it.
ROOM_FOR_WRITES_BYTES = 64 * 1024 * 1024
NO_ROOM_SENTENCE = "The disk of the site is full. Nothing was saved. Everything can be viewed."


def has_room() -> bool:
    """Return whether there is room for writes. True where the database is not on a disk of this machine."""
    folder = settings.DISK_FOLDER
    return not folder or free_bytes(Path(folder)) >= ROOM_FOR_WRITES_BYTES


def free_bytes(folder: Path) -> int:
    """Return the bytes that are free for others than root on the disk that holds `folder`."""
    status = os.statvfs(folder)
    return status.f_bavail * status.f_frsize
