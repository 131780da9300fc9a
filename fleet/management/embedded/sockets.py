"""The private folder for sockets. Socket paths are limited to about 100 bytes, so a long one is replaced by /tmp."""

import os
import shutil
import tempfile
from pathlib import Path

from fleet.management.embedded.folder import Folder
from fleet.management.embedded.machine_errors import MachineError
from fleet.management.embedded.records import write_private

LONGEST_SOCKET_NAME = "/.s.PGSQL.5432.lock"
MAX_PATH_BYTES = 100
SHORT_FOLDER = Path("/tmp")
PREFIX = "gaugeglass-sockets-"


def fresh_socket_folder(folder: Folder) -> Path:
    """Return an empty private folder for sockets. What an earlier run left is removed."""
    remove_socket_folder(folder)
    if len(os.fsencode(folder.path / "run")) + len(LONGEST_SOCKET_NAME) <= MAX_PATH_BYTES:
        return folder.private_folder("run")
    socket_folder = folder.account.give_ownership(Path(tempfile.mkdtemp(prefix=PREFIX, dir=SHORT_FOLDER)))
    if not folder.account.can_reach(socket_folder):
        socket_folder.rmdir()
        raise MachineError(
            f"The path {folder.path} is too long for sockets and {SHORT_FOLDER} cannot be used: name a shorter folder."
        )
    write_private(_note_path(folder), str(socket_folder))
    return socket_folder


def remove_socket_folder(folder: Folder) -> None:
    """Remove the socket folder of this data folder, wherever it is."""
    shutil.rmtree(folder.path / "run", ignore_errors=True)
    note = _note_path(folder)
    if note.is_file():
        noted_folder = Path(note.read_text())
        if noted_folder.parent == SHORT_FOLDER and noted_folder.name.startswith(PREFIX):
            shutil.rmtree(noted_folder, ignore_errors=True)
        note.unlink()


def _note_path(folder: Folder) -> Path:
    return folder.path / "sockets.txt"
