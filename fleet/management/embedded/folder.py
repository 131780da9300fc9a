"""The data folder: its path, its kind and its files. The mode of an existing folder is never changed."""

import json
import os
import secrets
import shutil
from dataclasses import dataclass
from pathlib import Path

from fleet.deployment import MIN_KEY_LENGTH
from fleet.management.embedded.account import user_name_of
from fleet.management.embedded.machine_errors import MachineError, explain_os_errors
from fleet.management.embedded.records import read_json, write_private
from fleet.management.embedded.site_accounts import SiteAccounts, choose_accounts
from fleet.management.embedded.trusted_paths import untrusted_part
from fleet.records.disk_room import free_bytes

LAYOUT_VERSION = 1
KIND_NAMES = {"demo": "a demonstration", "site": "a lasting site", "test": "a test"}
KEY_NAMES = ("secret_key", "superuser", "database", "database_owner", "broker", "broker_site", "push")
MB = 1024 * 1024
ROOM_FOR_NEW_BYTES, ROOM_TO_RUN_BYTES, MAX_LOG_BYTES = 200 * MB, 30 * MB, 10 * MB


@dataclass(frozen=True, slots=True)
class Folder:
    """An opened data folder and the accounts its site runs under.

    As root the folder itself is root's: what the accounts own lies in folders of their own below it.
    """

    path: Path
    accounts: SiteAccounts

    @property
    def cluster(self) -> Path:
        """Where the database keeps its files."""
        return self.path / "postgres"

    def log_path(self, name: str) -> Path:
        """Return the log file of a child."""
        return self.path / "logs" / f"{name}.log"

    def set_large_logs_aside(self) -> None:
        """Move large logs aside, keeping one older log per child. Children append, so truncating is safe."""
        for log in (self.path / "logs").glob("*.log"):
            if log.stat().st_size > MAX_LOG_BYTES:
                _set_aside(log)

    def private_folder(self, name: str) -> Path:
        """Return a subfolder that only the account of the data may enter. It is created if it is missing."""
        path = self.path / name
        if not path.is_dir():
            path.mkdir(mode=0o700)
            self.accounts.data.give_ownership(path)
        return path

    def files_folder(self) -> Path:
        """Return the subfolder of photographs, which only the account of the site may enter. Made if it is missing."""
        path = self.path / "files"
        if not path.is_dir():
            path.mkdir(mode=0o700)
            self.accounts.site.give_ownership(path)
        return path

    def mails_folder(self) -> Path:
        """Return the demonstration's folder of mails, which only the site's account may enter. Made if missing."""
        path = self.path / "mails"
        if not path.is_dir():
            path.mkdir(mode=0o700)
            self.accounts.site.give_ownership(path)
        return path

    def write_for_servers(self, name: str, text: str) -> Path:
        """Write a file in the folder itself that the servers may read and nobody but its owner may change."""
        path = self.path / name
        write_private(path, text, readers=self.accounts.data.gid if self.accounts.are_separate else None)
        return path

    def load_keys(self) -> dict[str, str]:
        """Return the passwords and the signing key of this folder. Each is made once."""
        path = self.path / "keys.json"
        keys: dict[str, str] = read_json(path)
        missing = [name for name in KEY_NAMES if name not in keys]
        if missing:
            keys = {**keys, **{name: secrets.token_urlsafe(48) for name in missing}}
            write_private(path, json.dumps(keys))
        return keys

    def renew_short_key(self) -> str:
        """Replace a signing key that is too short. Return a sentence about it, '' where there was none.

        Earlier versions made one of 43 characters. Of a site that is given its key nobody signs with the folder's.
        """
        keys = self.load_keys()
        if len(keys["secret_key"]) >= MIN_KEY_LENGTH:
            return ""
        write_private(self.path / "keys.json", json.dumps({**keys, "secret_key": secrets.token_urlsafe(48)}))
        if os.environ.get("GAUGEGLASS_SECRET_KEY"):
            return ""
        return (
            f"The key that signs sessions had fewer than {MIN_KEY_LENGTH} characters and was replaced: everybody has "
            "to sign in again, and links for new users and owners that were not used yet are no longer good."
        )

    def check_room(self) -> None:
        """Raise MachineError where the disk has too little room to start."""
        free = free_bytes(self.path)
        needed_bytes = ROOM_TO_RUN_BYTES if self.cluster.is_dir() else ROOM_FOR_NEW_BYTES
        if free < needed_bytes:
            raise MachineError(
                f"The disk that holds {self.path} has only {free // MB} MB left and "
                f"{needed_bytes // MB} MB are needed: "
                "make room there or name another folder with --data."
            )


def _set_aside(log: Path) -> None:
    try:
        shutil.copyfile(log, log.with_suffix(".old"))
    finally:
        os.truncate(log, 0)  # also without room for the copy: the log itself may be what filled the disk


def default_folder(name: str) -> Path:
    """Return the default data folder: GAUGEGLASS_DATA, else one of the machine for root, else one of the user."""
    environment_path = os.environ.get("GAUGEGLASS_DATA")
    if environment_path:
        return Path(environment_path)
    if os.geteuid() == 0:
        return Path("/var/lib/gaugeglass") / name
    return Path(os.environ.get("XDG_DATA_HOME") or Path.home() / ".local/share") / "gaugeglass" / name


def open_folder(path: Path, kind: str) -> Folder:
    """Open or make the data folder of a `kind` of installation. Raises MachineError where it cannot be used."""
    path = Path(os.path.abspath(path))
    with explain_os_errors(path):
        _make_folder(path)
        _check_use(path, kind)
        folder = Folder(path, choose_accounts(kind))
        for account in (folder.accounts.data, folder.accounts.site):
            if not account.can_reach(path):
                raise MachineError(
                    f"The site runs as {account.name}, who cannot reach {path}: name a folder with --data that "
                    "this user can reach, or change the mode of the folders above it."
                )
        _write_layout(path, kind)
        (path / "logs").mkdir(mode=0o700, exist_ok=True)
    return folder


def _make_folder(path: Path) -> None:
    """Make the missing folders of `path`. The site's accounts may pass through them; others may not list them."""
    missing = [folder for folder in (path, *path.parents) if not folder.exists()]
    for folder in reversed(missing):
        folder.mkdir(mode=0o700)
        if os.geteuid() == 0:
            folder.chmod(0o711)
    if not path.is_dir():
        raise MachineError(f"{path} is not a folder: name another with --data.")
    if not os.access(path, os.R_OK | os.W_OK | os.X_OK):
        raise MachineError(f"You may not write in {path}: name another folder with --data.")


def _check_use(path: Path, kind: str) -> None:
    _check_owner(path)
    layout = read_json(path / "layout.json")
    if not layout and any(entry.name != "lost+found" for entry in path.iterdir()):
        raise MachineError(
            f"{path} is not empty and was not made by Gaugeglass: name an empty or a new folder with --data."
        )
    if layout.get("layout", LAYOUT_VERSION) != LAYOUT_VERSION:
        raise MachineError(
            f"{path} was written by a newer Gaugeglass (data layout {layout['layout']}, this one knows "
            f"{LAYOUT_VERSION}): "
            "update the program."
        )
    if layout.get("kind", kind) != kind:
        raise MachineError(
            f"{path} holds {KIND_NAMES.get(layout['kind'], 'something else')}, not {KIND_NAMES[kind]}: "
            "name another with --data."
        )


def _check_owner(path: Path) -> None:
    """Refuse another user's folder: files made by a second user would lock out the first one.

    Root refuses a folder in which others may write: they could put links in place of what root opens there.
    """
    mark = path / "layout.json"
    owners = [mark.lstat().st_uid] if os.path.lexists(mark) else []
    if os.geteuid() == 0:
        owners.append(path.stat().st_uid)
    for owner in owners:
        if owner != os.geteuid():
            raise MachineError(
                f"{path} belongs to {user_name_of(owner)}: start it as that user, or name another with --data."
            )
    if os.geteuid() == 0 and (part := untrusted_part(path.parent)):
        raise MachineError(
            f"Others than root can change {part}, and so put another folder in place of {path}: name a folder with "
            "--data that lies in folders of root's."
        )
    if os.geteuid() == 0 and path.stat().st_mode & 0o022:
        raise MachineError(
            f"Others may write in {path}: take that right from them (`chmod go-w`), or name another with --data."
        )


def _write_layout(path: Path, kind: str) -> None:
    if not (path / "layout.json").exists():
        write_private(path / "layout.json", json.dumps({"layout": LAYOUT_VERSION, "kind": kind}))
