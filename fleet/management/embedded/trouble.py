"""What can go wrong on a machine, in one sentence each and never as a traceback."""

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

FULL = {errno.ENOSPC, errno.EDQUOT}
FULL_WORDS = ("No space left on device", "Disk quota exceeded")
CLOSED = {errno.EACCES, errno.EPERM, errno.EROFS}


class Trouble(Exception):
    """One clear sentence for the person at the keyboard; the command prints it and ends with exit code 1."""


def disk_full(folder: Path) -> Trouble:
    """Return the sentence for a disk with no room left."""
    return Trouble(f"The disk that holds {folder} is full: make room there and start again, nothing is lost.")


def tail(log: Path, size: int = 4000) -> str:
    """Return the end of a log file, or nothing where there is none."""
    try:
        with log.open("rb") as file:
            file.seek(max(0, os.fstat(file.fileno()).st_size - size))
            return file.read().decode(errors="replace")
    except OSError:
        return ""


def from_log(sentence: str, log: Path, folder: Path) -> Trouble:
    """Return `sentence` with where to read more, or the full disk where the log complains of one."""
    end = tail(log)
    if any(words in end for words in FULL_WORDS):
        return disk_full(folder)
    return Trouble(f"{sentence}; its log is {log}.")


@contextmanager
def in_words(folder: Path) -> Iterator[None]:
    """Turn what the operating system refuses inside the block into a sentence about `folder`."""
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
