"""An account of this machine, and what it may reach: the caller's own, or one that root changes to."""

import os
import pwd
import subprocess
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

SYSTEM_PATH = "/usr/bin:/bin"


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
        """Make this account the owner of a path just created in a folder of the caller, and return the path."""
        if self.switch:
            os.chown(path, self.uid, self.gid, follow_symlinks=False)
        return path

    def can_reach(self, path: Path) -> bool:
        """Return whether the account may traverse or execute `path`. It is tried: mode bits alone do not tell."""
        return self.can_run(["test", "-x", str(path)])

    def can_run(self, argv: list[str], env: Mapping[str, str] | None = None) -> bool:
        """Return whether `argv` exits with 0 within 30 s under this account."""
        try:
            result = subprocess.run(
                argv,
                cwd="/",
                env={"PATH": SYSTEM_PATH, **(env or {})},
                capture_output=True,
                timeout=30,
                check=False,
                **self.spawn_options,
            )
        except (PermissionError, FileNotFoundError, NotADirectoryError, subprocess.TimeoutExpired):
            return False
        return result.returncode == 0

    def can_read_all(self, path: Path) -> bool:
        """Return whether the account may read `path` and all below it; caches of bytecode aside, which can be made."""
        return self._ask(lambda: _is_all_readable(str(path)))

    def _ask(self, question: Callable[[], bool]) -> bool:
        """Return the answer of a fork of this process that has become the account. It starts no program."""
        pid = os.fork()
        if pid == 0:
            code = 1
            try:
                self._become()
                code = 0 if question() else 1
            finally:
                os._exit(code)
        return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]) == 0

    def _become(self) -> None:
        if self.switch:
            os.setgroups([])
            os.setresgid(self.gid, self.gid, self.gid)
            os.setresuid(self.uid, self.uid, self.uid)


def current_account() -> Account:
    """Return the account that runs this process."""
    uid = os.geteuid()
    return Account(uid, os.getegid(), user_name_of(uid), switch=False)


def user_name_of(uid: int) -> str:
    """Return the name of a user, or the number where it has none."""
    try:
        return pwd.getpwuid(uid).pw_name
    except KeyError:  # a container may run under a number without a name
        return str(uid)


def _is_all_readable(path: str) -> bool:
    if not os.path.isdir(path):
        return os.access(path, os.R_OK)
    if not os.access(path, os.R_OK | os.X_OK):
        return False
    with os.scandir(path) as entries:
        # What a link leads to may be missing for everybody.
        return all(_is_all_readable(e.path) for e in entries if e.name != "__pycache__" and not e.is_symlink())
