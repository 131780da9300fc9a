"""Identity of processes: start, program, and whether they still run. A process number alone is reused."""

import os
import subprocess
from pathlib import Path

PROC = Path("/proc")
# Position of a field in /proc/PID/stat, counted after the parenthesised name.
STATE, GROUP, SESSION, START = 0, 2, 3, 19


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
    pids = (int(entry.name) for entry in PROC.iterdir() if entry.name.isdigit()) if _has_proc() else ()
    return [pid for pid in pids if _is_in_group(_read_stat(pid), str(group))]


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
