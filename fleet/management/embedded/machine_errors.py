"""Errors of the machine, each as one sentence for the user instead of a traceback."""

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

DISK_FULL_ERRNOS = {errno.ENOSPC, errno.EDQUOT}
DISK_FULL_MESSAGES = ("No space left on device", "Disk quota exceeded")
NO_ACCESS_ERRNOS = {errno.EACCES, errno.EPERM, errno.EROFS}


class MachineError(Exception):
    """An error with one clear sentence for the user. The command prints it and exits with 1."""


def disk_full_error(folder: Path) -> MachineError:
    """Return the error for a full disk."""
    return MachineError(f"The disk that holds {folder} is full: make room there and start again, nothing is lost.")


def read_tail(log: Path, start: int = 0, size: int = 4000) -> str:
    """Return the last `size` bytes of a log file from byte `start` on as text, '' where there is none.

    Characters that would command a terminal are left out: other accounts write these logs.
    """
    try:
        with log.open("rb") as file:
            end = os.fstat(file.fileno()).st_size
            file.seek(max(0, end - size, start if start <= end else 0))  # a large log begins anew
            return make_printable(file.read().decode(errors="replace"))
    except OSError:
        return ""


def make_printable(text: str) -> str:
    """Return `text` without characters that command a terminal."""
    return "".join(letter for letter in text if letter.isprintable() or letter == "\n")


def reports_full_disk(log: Path, start: int) -> bool:
    """Return whether the log says from byte `start` on that a disk is full."""
    return any(words in read_tail(log, start) for words in DISK_FULL_MESSAGES)


def error_from_log(sentence: str, log: Path, start: int, folder: Path) -> MachineError:
    """Return an error with `sentence` and the log's path, or the full-disk error where its new lines report one."""
    return disk_full_error(folder) if reports_full_disk(log, start) else MachineError(f"{sentence}; its log is {log}.")


@contextmanager
def ignore_full_disk() -> Iterator[None]:
    """Go on where the block fails because the disk is full."""
    try:
        yield
    except OSError as error:
        if error.errno not in DISK_FULL_ERRNOS:
            raise


@contextmanager
def explain_os_errors(folder: Path) -> Iterator[None]:
    """Turn an OSError raised inside the block into a MachineError about `folder`."""
    try:
        yield
    except OSError as error:
        if error.errno in DISK_FULL_ERRNOS:
            raise disk_full_error(folder) from error
        if error.errno in NO_ACCESS_ERRNOS:
            raise MachineError(
                f"You may not write in {folder} ({error.strerror}): name another folder with --data."
            ) from error
        where = error.filename or folder
        raise MachineError(f"The folder {folder} cannot be used: {error.strerror or error} ({where}).") from error
