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


def read_tail(log: Path, size: int = 4000) -> str:
    """Return the last `size` bytes of a log file as text, '' where there is none."""
    try:
        with log.open("rb") as file:
            file.seek(max(0, os.fstat(file.fileno()).st_size - size))
            return file.read().decode(errors="replace")
    except OSError:
        return ""


def error_from_log(sentence: str, log: Path, folder: Path) -> MachineError:
    """Return an error with `sentence` and the log's path, or the full-disk error where the log reports one."""
    end = read_tail(log)
    if any(words in end for words in DISK_FULL_MESSAGES):
        return disk_full_error(folder)
    return MachineError(f"{sentence}; its log is {log}.")


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
