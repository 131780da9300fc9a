"""One child process: described as data, started tied to us, stopped with everything in its group."""

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

from fleet.management.embedded import identity
from fleet.management.embedded.account import Account, caller

PR_SET_PDEATHSIG = 1
# Loaded before any fork: the child may not take locks between fork and exec.
_PRCTL = ctypes.CDLL(None, use_errno=True).prctl if sys.platform == "linux" else None


@dataclass(frozen=True, slots=True)
class Program:
    """What to run and how it likes to be stopped. `vital`: without it the whole site is of no use.

    `once`: it ends by itself beside the site, is not started again, and what it says is told.
    """

    name: str
    argv: tuple[str, ...]
    env: Mapping[str, str] = field(default_factory=dict)
    account: Account = field(default_factory=caller)
    cwd: str = "/"
    ask: signal.Signals = signal.SIGTERM
    patience: float = 10.0
    vital: bool = False
    once: bool = False


def spawn(program: Program, log: Path) -> subprocess.Popen[bytes]:
    """Start `program` in a session of its own, writing to `log`; it is asked to stop when we are killed."""
    with log.open("ab") as out:
        return subprocess.Popen(
            program.argv,
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=subprocess.STDOUT,
            env=dict(program.env),
            cwd=program.cwd,
            umask=0o077,
            start_new_session=True,  # a Ctrl-C in the terminal reaches us alone: the order of stopping is ours
            preexec_fn=_tie(program.ask),
            **program.account.spawning,
        )


def running(process: subprocess.Popen[bytes]) -> bool:
    """Return whether it still runs, without reaping: until then nobody else can get its number."""
    return process.returncode is None and bool(identity.started(process.pid))


def end(process: subprocess.Popen[bytes], ask: signal.Signals, patience: float) -> int:
    """Ask it to stop, wait, kill what is left of its group, and return its exit code."""
    if process.returncode is None:
        ask_and_kill(process.pid, ask, patience)
    return process.wait()


def ask_and_kill(pid: int, ask: signal.Signals, patience: float) -> None:
    """Stop a group leader within `patience` seconds and leave nothing of its group."""
    before = identity.started(pid)
    if before:
        with suppress(ProcessLookupError):
            os.kill(pid, ask)
        wait_until(lambda: identity.started(pid) != before, patience)
    with suppress(ProcessLookupError, PermissionError):  # macOS answers EPERM for a group of zombies
        os.killpg(pid, signal.SIGKILL)


def wait_until(true: Callable[[], bool], limit: float, every: float = 0.05) -> bool:
    """Return whether `true` came true within `limit` seconds."""
    end_at = time.monotonic() + limit
    while not true():
        if time.monotonic() > end_at:
            return False
        time.sleep(every)
    return True


def _tie(ask: signal.Signals) -> Callable[[], None]:
    parent = os.getpid()

    def tie() -> None:
        if _PRCTL is not None:
            _PRCTL(PR_SET_PDEATHSIG, int(ask))
        if os.getppid() != parent:  # we were killed before the tie was made
            os._exit(1)

    return tie
