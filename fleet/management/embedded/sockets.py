"""The folder for sockets, which only the site's accounts may enter.

Socket paths are limited to about 100 bytes, so a long one is replaced by one in /tmp.
"""

import os
import shutil
import tempfile
from pathlib import Path

from fleet.management.embedded.folder import Folder
from fleet.management.embedded.machine_errors import MachineError
from fleet.management.embedded.records import write_private
from fleet.management.embedded.site_accounts import SiteAccounts

LONGEST_SOCKET_NAME = "/.s.PGSQL.5432.lock"
MAX_PATH_BYTES = 100
SHORT_FOLDER = Path("/tmp")
PREFIX = "gaugeglass-sockets-"


def fresh_socket_folder(folder: Folder) -> Path:
    """Return an empty folder for sockets. What an earlier run left is removed."""
    remove_socket_folder(folder)
    if len(os.fsencode(folder.path / "run")) + len(LONGEST_SOCKET_NAME) <= MAX_PATH_BYTES:
        (folder.path / "run").mkdir(mode=0o700)
        return _open_to_site(folder.path / "run", folder.accounts)
    socket_folder = _open_to_site(Path(tempfile.mkdtemp(prefix=PREFIX, dir=SHORT_FOLDER)), folder.accounts)
    if not folder.accounts.site.can_reach(socket_folder):
        socket_folder.rmdir()
        raise MachineError(
            f"The path {folder.path} is too long for sockets and {SHORT_FOLDER} cannot be used: name a shorter folder."
        )
    write_private(_note_path(folder), str(socket_folder))
    return socket_folder


def socket_mode(accounts: SiteAccounts) -> str:
    """Return the mode of a socket, in octal digits. Where the accounts are separate the folder keeps others out."""
    return "0777" if accounts.are_separate else "0700"


def _open_to_site(socket_folder: Path, accounts: SiteAccounts) -> Path:
    """Have the servers own a new folder, let the group of the site's account in, and nobody else."""
    if accounts.are_separate:
        socket_folder.chmod(0o710)
        os.chown(socket_folder, accounts.data.uid, accounts.site.gid, follow_symlinks=False)
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
