"""The account the servers run under: the caller's own, or an unprivileged one when the caller is root."""

import os
import pwd
import subprocess
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fleet.management.embedded.machine_errors import MachineError

# PostgreSQL refuses to run as root. An account of our own keeps the data apart from other services run by `nobody`.
ACCOUNT_NAMES = ("gaugeglass", "nobody")


@dataclass(frozen=True, slots=True)
class Account:
    """A user of this machine. `switch`: processes must change to it."""

    uid: int
    gid: int
    name: str
    switch: bool

    @property
    def spawn_options(self) -> dict[str, Any]:
        """Keyword arguments that make `subprocess` run a program under this account, without further groups."""
        return {"user": self.uid, "group": self.gid, "extra_groups": []} if self.switch else {}

    def give_ownership(self, path: Path) -> Path:
        """Make this account the owner of a path just created, and return the path."""
        if self.switch:
            os.chown(path, self.uid, self.gid)
        return path

    def can_reach(self, path: Path) -> bool:
        """Return whether the account may traverse or execute `path`. It is tried: mode bits alone do not tell."""
        return self.can_run(["test", "-x", str(path)])

    def can_run(self, argv: list[str]) -> bool:
        """Return whether `argv` exits with 0 within 30 s under this account."""
        env = {"PATH": "/usr/bin:/bin"}
        try:
            result = subprocess.run(
                argv, cwd="/", env=env, capture_output=True, timeout=30, check=False, **self.spawn_options
            )
        except (PermissionError, FileNotFoundError, subprocess.TimeoutExpired):
            return False
        return result.returncode == 0


def current_account() -> Account:
    """Return the account that runs this process."""
    uid = os.geteuid()
    return Account(uid, os.getegid(), user_name_of(uid), switch=False)


def account_for_servers(owned: Path) -> Account:
    """Return the account for the servers. `owned` is a folder that belongs to it already, if it exists."""
    if os.geteuid() != 0:
        return current_account()
    if owned.is_dir() and owned.stat().st_uid:
        folder_stat = owned.stat()
        return Account(folder_stat.st_uid, folder_stat.st_gid, user_name_of(folder_stat.st_uid), switch=True)
    names = {entry.pw_name: entry for entry in pwd.getpwall()}
    account_name = next((names[name] for name in ACCOUNT_NAMES if name in names), None)
    if account_name is None:
        raise MachineError(
            f"The servers may not run as root: make an account named {ACCOUNT_NAMES[0]}, or start as another user."
        )
    return Account(account_name.pw_uid, account_name.pw_gid, account_name.pw_name, switch=True)


def user_name_of(uid: int) -> str:
    """Return the name of a user, or the number where it has none."""
    try:
        return pwd.getpwuid(uid).pw_name
    except KeyError:  # a container may run under a number without a name
        return str(uid)
