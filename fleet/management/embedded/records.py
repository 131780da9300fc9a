"""Records on disk of a data folder's running processes. The next start stops what a killed one left."""

import json
import os
import signal
import stat
import tempfile
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from fleet.management.embedded import process_identity
from fleet.management.embedded.machine_errors import ignore_full_disk
from fleet.management.embedded.processes import Program, ask_and_kill, wait_until

MAX_UNTRUSTED_BYTES = 4096
KILL_SECONDS = 5.0  # a killed process is gone at once, unless a disk keeps it waiting


@dataclass(frozen=True, slots=True)
class ProcessMark:
    """A child process by number, start and program. All three must agree before it is stopped."""

    name: str
    pid: int
    started: str
    command: str
    ask: int
    helpers_folder: str = ""
    helpers_title: str = ""

    @classmethod
    def of_child(cls, program: Program, pid: int) -> "ProcessMark":
        """Return the mark of a child just started."""
        return cls(
            program.name,
            pid,
            started=process_identity.start_of(pid),
            command=process_identity.program_of(pid),
            ask=int(program.stop_signal),
            helpers_folder=program.helpers_folder,
            helpers_title=program.helpers_title,
        )

    def stop_leftover(self, patience: float = 15.0) -> bool:
        """Stop what is left of this child. Return whether anything was left."""
        if not self.started:
            return False
        is_running = bool(process_identity.start_of(self.pid))
        if is_running and not self._is_ours(self.pid):
            return False  # its number was given to another process, and with it the number of its group
        if is_running:
            ask_and_kill(self.pid, signal.Signals(self.ask), patience)
        return self.kill_remains() or is_running

    def kill_remains(self) -> bool:
        """Kill what outlived the child: its group, and helpers with sessions of their own. Return whether any did.

        They would hold its port, its memory and its files against the next start.
        """
        if not self.command:
            return False
        remains = {pid: process_identity.start_of(pid) for pid in self._find_remains()}
        for pid, start in remains.items():
            process_identity.kill_if_same(pid, start)
        wait_until(
            lambda: not any(process_identity.start_of(pid) == s for pid, s in remains.items() if s), KILL_SECONDS
        )
        return bool(remains)

    def _find_remains(self) -> list[int]:
        group = [
            p for p in process_identity.members_of_group(self.pid) if process_identity.program_of(p) == self.command
        ]
        if not self.helpers_folder:
            return group
        return [*group, *process_identity.members_left_behind(self.command, self.helpers_folder, self.helpers_title)]

    def _is_ours(self, pid: int) -> bool:
        return process_identity.start_of(pid) == self.started and process_identity.program_of(pid) == self.command


class ProcessRecords:
    """The marks of one data folder, in the order of starting."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.marks: dict[str, ProcessMark] = {}

    def add_mark(self, mark: ProcessMark) -> None:
        """Add a child's mark. It replaces an earlier one of the same name."""
        self.marks[mark.name] = mark
        self._write_marks()

    def end_mark(self, name: str) -> None:
        """Kill what is left of a child that has ended, and remove its mark."""
        mark = self.marks.pop(name, None)
        if mark:
            mark.kill_remains()
            self._write_marks()

    def stop_leftovers(self) -> list[str]:
        """Stop what an earlier run left, last started first. Return the names of those that were running."""
        stopped_names = [mark.name for mark in reversed(self._read_marks()) if mark.stop_leftover()]
        self.path.unlink(missing_ok=True)
        return stopped_names

    def _write_marks(self) -> None:
        # On a full disk the marks stay in memory, and the next change of them is written again.
        with ignore_full_disk():
            write_private(self.path, json.dumps([asdict(mark) for mark in self.marks.values()]))

    def _read_marks(self) -> list[ProcessMark]:
        try:
            return [ProcessMark(**mark_values) for mark_values in json.loads(self.path.read_text())]
        except (FileNotFoundError, ValueError, TypeError):
            return []


def write_private(path: Path, text: str, readers: int | None = None) -> None:
    """Write a file that only its owner, and the group `readers` if there is one, may read. The write is atomic."""
    handle, name = tempfile.mkstemp(prefix=f".{path.name}-", dir=path.parent)
    try:
        with os.fdopen(handle, "w") as file:
            if readers is not None:
                os.fchown(handle, -1, readers)
                os.fchmod(handle, 0o640)
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def read_untrusted(path: Path) -> str:
    """Return a short file out of a folder that another account may write in; '' for a link, a pipe and what is no file.

    Opening such a name without care could read a file of root's, or wait for a writer that never comes.
    """
    try:
        handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
    except OSError:
        return ""
    with os.fdopen(handle, "rb") as file:
        is_file = stat.S_ISREG(os.fstat(handle).st_mode)
        return file.read(MAX_UNTRUSTED_BYTES).decode(errors="replace") if is_file else ""


def read_json(path: Path) -> dict[str, Any]:
    """Return the object in a JSON file. Empty where the file is missing or damaged."""
    try:
        content = json.loads(path.read_text())
    except (FileNotFoundError, ValueError):
        return {}
    return content if isinstance(content, dict) else {}
