"""The private folder for sockets. Socket paths are limited to about 100 bytes, so a long one is replaced by /tmp."""

import os
import shutil
import tempfile
from pathlib import Path

from fleet.management.embedded.folder import Folder
from fleet.management.embedded.records import write_private
from fleet.management.embedded.trouble import Trouble

LONGEST = "/.s.PGSQL.5432.lock"
LIMIT = 100
SHORT = Path("/tmp")
PREFIX = "gaugeglass-sockets-"


def fresh(folder: Folder) -> Path:
    """Return an empty private folder for sockets. What an earlier run left is removed."""
    clear(folder)
    if len(os.fsencode(folder.path / "run")) + len(LONGEST) <= LIMIT:
        return folder.private("run")
    made = folder.account.give(Path(tempfile.mkdtemp(prefix=PREFIX, dir=SHORT)))
    if not folder.account.reaches(made):
        made.rmdir()
        raise Trouble(
            f"The path {folder.path} is too long for sockets and {SHORT} cannot be used: name a shorter folder."
        )
    write_private(_note(folder), str(made))
    return made


def clear(folder: Folder) -> None:
    """Remove the socket folder of this data folder, wherever it is."""
    shutil.rmtree(folder.path / "run", ignore_errors=True)
    note = _note(folder)
    if note.is_file():
        noted = Path(note.read_text())
        if noted.parent == SHORT and noted.name.startswith(PREFIX):
            shutil.rmtree(noted, ignore_errors=True)
        note.unlink()


def _note(folder: Folder) -> Path:
    return folder.path / "sockets.txt"
