"""Records on disk of a data folder's running processes. The next start stops what a killed one left."""

import json
import os
import signal
import tempfile
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from fleet.management.embedded import identity
from fleet.management.embedded.processes import ask_and_kill


@dataclass(frozen=True, slots=True)
class Mark:
    """A child process by number, start and program. All three must agree before it is stopped."""

    name: str
    pid: int
    started: str
    command: str
    ask: int

    @classmethod
    def of(cls, name: str, pid: int, ask: signal.Signals) -> "Mark":
        """Return the mark of a child just started."""
        return cls(name, pid, identity.started(pid), identity.command(pid), int(ask))

    def stop(self, patience: float = 15.0) -> bool:
        """Stop what is left of this child. Return whether anything was left."""
        if not self.started:
            return False
        if identity.started(self.pid):
            return self._is_ours(self.pid) and _stopped(self.pid, signal.Signals(self.ask), patience)
        left = [pid for pid in identity.members(self.pid) if identity.command(pid) == self.command]
        for pid in left:
            with suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
        return bool(left)

    def _is_ours(self, pid: int) -> bool:
        return identity.started(pid) == self.started and identity.command(pid) == self.command


class Records:
    """The marks of one data folder, in the order of starting."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.marks: dict[str, Mark] = {}

    def add(self, mark: Mark) -> None:
        """Add a child's mark. It replaces an earlier one of the same name."""
        self.marks[mark.name] = mark
        self._write()

    def drop(self, name: str) -> None:
        """Remove the mark of a child that has ended."""
        if self.marks.pop(name, None):
            self._write()

    def recover(self) -> list[str]:
        """Stop what an earlier run left, last started first. Return the names of those that were running."""
        found = [mark.name for mark in reversed(self._read()) if mark.stop()]
        self.path.unlink(missing_ok=True)
        return found

    def _write(self) -> None:
        write_private(self.path, json.dumps([asdict(mark) for mark in self.marks.values()]))

    def _read(self) -> list[Mark]:
        try:
            return [Mark(**each) for each in json.loads(self.path.read_text())]
        except (FileNotFoundError, ValueError, TypeError):
            return []


def write_private(path: Path, text: str) -> None:
    """Write a file that only its owner may read. The write is atomic."""
    handle, name = tempfile.mkstemp(prefix=f".{path.name}-", dir=path.parent)
    try:
        with os.fdopen(handle, "w") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def read_json(path: Path) -> dict[str, Any]:
    """Return the object in a JSON file. Empty where the file is missing or damaged."""
    try:
        found = json.loads(path.read_text())
    except (FileNotFoundError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def _stopped(pid: int, ask: signal.Signals, patience: float) -> bool:
    ask_and_kill(pid, ask, patience)
    return True
