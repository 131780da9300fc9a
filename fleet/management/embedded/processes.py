"""One child process: described as data, started tied to its parent, stopped with all of its group."""

import ctypes
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from fleet.management.embedded import process_identity
from fleet.management.embedded.account import Account, current_account

PR_SET_PDEATHSIG = 1
# Loaded before any fork: the child must not take locks between fork and exec.
_PRCTL = ctypes.CDLL(None, use_errno=True).prctl if sys.platform == "linux" else None


@dataclass(frozen=True, slots=True)
class Program:
    """A program to run, and how to stop it. `for_owner`: it knows the password of the tables' owner, so that it runs as
    the account of the database and no program of the site can look into it. `vital`: the site cannot run without it.

    `once`: it ends by itself while the site runs, is not restarted, and its output is printed.
    `helpers_folder`, `helpers_title`: where its helpers with sessions of their own work, and how their titles begin.
    """

    name: str
    argv: tuple[str, ...]
    env: Mapping[str, str] = field(default_factory=dict)
    account: Account = field(default_factory=current_account)
    cwd: str = "/"
    stop_signal: signal.Signals = signal.SIGTERM
    patience: float = 10.0
    vital: bool = False
    once: bool = False
    for_owner: bool = False
    helpers_folder: str = ""
    helpers_title: str = ""


def spawn_program(program: Program, log: Path) -> subprocess.Popen[bytes]:
    """Start `program` in its own session, writing to `log`. It gets its stop signal when its parent is killed."""
    with log.open("ab") as out:
        return subprocess.Popen(
            program.argv,
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=subprocess.STDOUT,
            env=dict(program.env),
            cwd=program.cwd,
            umask=0o077,
            start_new_session=True,  # Ctrl-C reaches only the supervisor, which stops children in order
            preexec_fn=_tie_to_parent(program.stop_signal),
            **program.account.spawn_options,
        )


def is_running(process: subprocess.Popen[bytes]) -> bool:
    """Return whether the process still runs. It is not reaped, so its number is not reused meanwhile."""
    return process.returncode is None and bool(process_identity.start_of(process.pid))


def end_process(process: subprocess.Popen[bytes], stop_signal: signal.Signals, patience: float) -> int:
    """Ask the process to stop, wait, kill what is left of its group, and return its exit code."""
    if process.returncode is None:
        ask_and_kill(process.pid, stop_signal, patience)
    return process.wait()


def ask_and_kill(pid: int, stop_signal: signal.Signals, patience: float) -> None:
    """Stop a group leader within `patience` seconds, then kill the rest of its group."""
    start_before = process_identity.start_of(pid)
    if start_before:
        with suppress(ProcessLookupError):
            os.kill(pid, stop_signal)
        wait_until(lambda: process_identity.start_of(pid) != start_before, patience)
    with suppress(ProcessLookupError, PermissionError):  # macOS answers EPERM for a group of zombies
        os.killpg(pid, signal.SIGKILL)


def wait_until(is_true: Callable[[], bool], limit: float, every: float = 0.05) -> bool:
    """Return whether `is_true` became true within `limit` seconds. It is called every `every` seconds."""
    end_at = time.monotonic() + limit
    while not is_true():
        if time.monotonic() > end_at:
            return False
        time.sleep(every)
    return True


def _tie_to_parent(stop_signal: signal.Signals) -> Callable[[], None]:
    parent = os.getpid()

    def tie() -> None:
        if _PRCTL is not None:
            _PRCTL(PR_SET_PDEATHSIG, int(stop_signal))
        if os.getppid() != parent:  # the parent was killed before the tie was made
            os._exit(1)

    return tie
