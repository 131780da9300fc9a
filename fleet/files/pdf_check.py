"""Checking that a document is a PDF that can be opened: its head, its end, and its pages by a reader."""

import subprocess
import sys
from pathlib import Path

READER_PATH = Path(__file__).with_name("pdf_reading.py")
HEAD, END = b"%PDF-", b"%%EOF"
END_STRETCH = 1024  # bytes: readers look for the end of a PDF in so many
MAX_WAIT_SECONDS = 20.0


class NotAPDF(Exception):
    """These bytes are no PDF that can be opened. `is_encrypted`: one that asks for a password, or may ask for one."""

    def __init__(self, *, is_encrypted: bool = False) -> None:
        """Note why."""
        super().__init__(is_encrypted)
        self.is_encrypted = is_encrypted


def check_pdf(content: bytes) -> None:
    """Read a PDF without changing it. Raises NotAPDF for what is none, for a broken and for an encrypted one.

    What stands before the head would make it a file of another kind as well, so nothing may.
    """
    if not content.startswith(HEAD) or END not in content[-END_STRETCH:]:
        raise NotAPDF
    described = _describe(content)
    if described != "readable":
        raise NotAPDF(is_encrypted=described == "encrypted")


def _describe(content: bytes) -> str:
    # -P: the folder of the program is no place to import from.
    command = [sys.executable, "-P", str(READER_PATH)]
    try:
        done = subprocess.run(command, input=content, capture_output=True, timeout=MAX_WAIT_SECONDS, check=False)
    except subprocess.TimeoutExpired:
        return "unreadable"
    return done.stdout.decode("ascii", "replace").strip()
