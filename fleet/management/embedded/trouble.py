"""Errors of the machine, each as one sentence for the user instead of a traceback."""

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

FULL = {errno.ENOSPC, errno.EDQUOT}
FULL_WORDS = ("No space left on device", "Disk quota exceeded")
CLOSED = {errno.EACCES, errno.EPERM, errno.EROFS}


class Trouble(Exception):
    """An error with one clear sentence for the user. The command prints it and exits with 1."""


def disk_full(folder: Path) -> Trouble:
    """Return the error for a full disk."""
    return Trouble(f"The disk that holds {folder} is full: make room there and start again, nothing is lost.")


def tail(log: Path, size: int = 4000) -> str:
    """Return the last `size` bytes of a log file as text, '' where there is none."""
    try:
        with log.open("rb") as file:
            file.seek(max(0, os.fstat(file.fileno()).st_size - size))
            return file.read().decode(errors="replace")
    except OSError:
        return ""


def from_log(sentence: str, log: Path, folder: Path) -> Trouble:
    """Return an error with `sentence` and the log's path, or the full-disk error where the log reports one."""
    end = tail(log)
    if any(words in end for words in FULL_WORDS):
        return disk_full(folder)
    return Trouble(f"{sentence}; its log is {log}.")


@contextmanager
def in_words(folder: Path) -> Iterator[None]:
    """Turn an OSError raised inside the block into a MachineError about `folder`."""
    try:
        yield
    except OSError as error:
        if error.errno in FULL:
            raise disk_full(folder) from error
        if error.errno in CLOSED:
            raise Trouble(
                f"You may not write in {folder} ({error.strerror}): name another folder with --data."
            ) from error
        where = error.filename or folder
        raise Trouble(f"The folder {folder} cannot be used: {error.strerror or error} ({where}).") from error
