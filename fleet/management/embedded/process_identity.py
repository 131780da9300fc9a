"""Identity of processes: start, program, and whether they still run. A process number alone is reused."""

import os
import signal
import subprocess
from pathlib import Path

PROC = Path("/proc")
# Position of a field in /proc/PID/stat, counted after the parenthesised name.
STATE, PARENT, GROUP, SESSION, START = 0, 1, 2, 3, 19


def start_of(pid: int) -> str:
    """Return a mark of when `pid` started, unique over reboots; '' if it does not run. A zombie does not run."""
    if not _has_proc():
        return "" if _run_ps(pid, "stat").startswith("Z") else _run_ps(pid, "lstart")
    fields = _read_stat(pid)
    if not fields or fields[STATE] in "ZX":
        return ""
    return f"{_boot_id()}:{fields[START]}"


def program_of(pid: int) -> str:
    """Return the program file `pid` runs."""
    if not _has_proc():
        return _run_ps(pid, "comm")
    try:
        return os.readlink(PROC / str(pid) / "exe").removesuffix(" (deleted)")
    except OSError:
        return ""


def arguments(pid: int) -> list[str]:
    """Return the command line of `pid`. Empty if it cannot be read."""
    if not _has_proc():
        return _run_ps(pid, "command").split()
    try:
        return (PROC / str(pid) / "cmdline").read_text(errors="replace").split("\0")
    except OSError:
        return []


def members_of_group(group: int) -> list[int]:
    """Return the running processes of session and process group `group`. Empty on machines without /proc."""
    return [pid for pid in _all_pids() if _is_in_group(_read_stat(pid), str(group))]


def members_left_behind(program: str, folder: str, title: str) -> list[int]:
    """Return processes of `program` that work in `folder` under `title` and whose parent is no such program any more.

    A server's own processes have sessions of their own. One that computes does not notice that the server was killed.
    """
    pids_left = []
    for pid in _all_pids():
        is_one = program_of(pid) == program and _working_folder(pid) == folder and arguments(pid)[0].startswith(title)
        if is_one and start_of(pid) and program_of(_parent_of(pid)) != program:
            pids_left.append(pid)
    return pids_left


def kill_if_same(pid: int, start: str) -> None:
    """Kill `pid` if it is still the process that started at `start`, and never one that got its number meanwhile."""
    try:
        handle = os.pidfd_open(pid)
    except (AttributeError, OSError):  # it has ended, or this system has no such handles
        return
    try:
        if start and start_of(pid) == start:
            signal.pidfd_send_signal(handle, signal.SIGKILL)
    except ProcessLookupError:
        pass
    finally:
        os.close(handle)


def _working_folder(pid: int) -> str:
    try:
        return os.readlink(PROC / str(pid) / "cwd")
    except OSError:
        return ""


def _parent_of(pid: int) -> int:
    fields = _read_stat(pid)
    return int(fields[PARENT]) if fields else 0


def _all_pids() -> list[int]:
    return [int(entry.name) for entry in PROC.iterdir() if entry.name.isdigit()] if _has_proc() else []


def _is_in_group(fields: list[str], group: str) -> bool:
    return bool(fields) and fields[STATE] not in "ZX" and fields[GROUP] == fields[SESSION] == group


def _has_proc() -> bool:
    return (PROC / "self" / "stat").exists()


def _read_stat(pid: int) -> list[str]:
    try:
        return (PROC / str(pid) / "stat").read_text().rpartition(")")[2].split()
    except OSError:
        return []


def _boot_id() -> str:
    return (PROC / "sys/kernel/random/boot_id").read_text().strip()


def _run_ps(pid: int, column: str) -> str:
    result = subprocess.run(["ps", "-o", f"{column}=", "-p", str(pid)], capture_output=True, text=True, check=False)
    return result.stdout.strip()
