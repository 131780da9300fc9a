"""The lock that allows one supervisor per data folder. The system drops it when its holder dies."""

import fcntl
import getpass
import json
import os
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from fleet.management.embedded.machine_errors import MachineError


@contextmanager
def hold_lock(folder: Path, where: str) -> Iterator[None]:
    """Hold the folder's lock while the block runs. Raises MachineError that says who holds it already."""
    handle = os.open(folder / "lock", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    try:
        _take_lock(handle, folder)
        _write_holder(handle, where)
        yield
        os.ftruncate(handle, 0)
    finally:
        os.close(handle)


def is_free(folder: Path) -> bool:
    """Return whether nobody holds the folder's lock now."""
    handle = os.open(folder / "lock", os.O_RDWR | os.O_CLOEXEC)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    finally:
        os.close(handle)
    return True


def _take_lock(handle: int, folder: Path) -> None:
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise MachineError(_describe_holder(os.pread(handle, 4096, 0), folder)) from None


def _write_holder(handle: int, where: str) -> None:
    since = datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC")
    os.ftruncate(handle, 0)
    os.pwrite(
        handle, json.dumps({"user": _user_name(), "pid": os.getpid(), "since": since, "where": where}).encode(), 0
    )


def _describe_holder(record: bytes, folder: Path) -> str:
    try:
        holder = json.loads(record)
        return (
            f"{folder} is already run by {holder['user']} (process {holder['pid']}) since "
            f"{holder['since']}, at {holder['where']}: "
            "use that one, stop it first, or start another with --data and --port."
        )
    except (ValueError, KeyError, TypeError):
        return f"{folder} is just being started by somebody else: wait a moment."


def _user_name() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return str(os.getuid())
