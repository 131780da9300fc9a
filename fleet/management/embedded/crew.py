"""The child processes of one supervisor: started, watched, restarted when they die, stopped last first."""

import signal
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field

from fleet.management.embedded.folder import Folder
from fleet.management.embedded.processes import Program, end, running, spawn
from fleet.management.embedded.records import Mark, Records
from fleet.management.embedded.trouble import from_log

Say = Callable[[str], None]

FIRST_PAUSE, LONGEST_PAUSE, SETTLED = 0.5, 30.0, 60.0
ENOUGH = 5  # in a row, of database or broker; then the site is stopped
LOOK_EVERY, LOGS_EVERY = 0.2, 60.0


class Asked(Exception):
    """Raised when a signal asks to stop while the supervisor waits for a child."""


@dataclass(slots=True)
class Child:
    """A running program, or one that waits for its restart."""

    program: Program
    process: subprocess.Popen[bytes]
    since: float = field(default_factory=time.monotonic)
    failures: int = 0
    again_at: float | None = None
    told: int = 0  # bytes of its log that were printed


class Crew:
    """Manages only processes it started. `is_stop_requested` returns whether all should stop."""

    def __init__(self, folder: Folder, say: Say, asked: Callable[[], bool] = lambda: False) -> None:
        self.folder, self.say, self.asked = folder, say, asked
        self.records = Records(folder.path / "children.json")
        self.children: list[Child] = []
        self._endings = ExitStack()  # runs every callback, also when one of them fails

    def run(self, program: Program) -> None:
        """Run a step to its end. Raises MachineError where it fails."""
        child = self._hire(program)
        self._wait(lambda: not running(child.process))
        if self._dismiss(child):
            raise from_log(f"The step `{program.name}` failed", self.folder.log(program.name), self.folder.path)

    def start(self, program: Program, ready: Callable[[], bool] = lambda: True, limit: float = 120.0) -> None:
        """Start a program that stays, and wait until it is ready. Raises MachineError after `limit` seconds."""
        child = self._hire(program)
        until = time.monotonic() + limit
        self._wait(lambda: not running(child.process) or ready() or time.monotonic() > until)
        if not running(child.process) or time.monotonic() > until:
            raise from_log(f"The {program.name} does not start", self.folder.log(program.name), self.folder.path)
        self.children.append(child)

    def watch(self) -> None:
        """Look after the children and their logs until a stop is requested."""
        logs_at = 0.0
        while not self.asked():
            for child in list(self.children):
                self._look_after(child)
            if time.monotonic() >= logs_at:
                self.folder.set_large_logs_aside()
                logs_at = time.monotonic() + LOGS_EVERY
            time.sleep(LOOK_EVERY)

    def stop(self) -> None:
        """Stop all children, last started first, each within its patience."""
        self._endings.close()
        self.children.clear()

    def _hire(self, program: Program) -> Child:
        log = self.folder.log(program.name)
        before = log.stat().st_size if log.exists() else 0
        child = Child(program, self._spawn(program), told=before)
        self._endings.callback(self._dismiss, child)
        return child

    def _spawn(self, program: Program) -> subprocess.Popen[bytes]:
        process = spawn(program, self.folder.log(program.name))
        self.records.add(Mark.of(program.name, process.pid, program.ask))
        return process

    def _dismiss(self, child: Child) -> int:
        code = end(child.process, child.program.ask, child.program.patience)
        self.records.drop(child.program.name)
        return code

    def _wait(self, over: Callable[[], bool]) -> None:
        while not over():
            if self.asked():
                raise Asked
            time.sleep(LOOK_EVERY / 4)

    def _look_after(self, child: Child) -> None:
        if child.program.once:
            self._accompany(child)
        elif child.again_at is None:
            if not running(child.process):
                self._plan_again(child)
        elif time.monotonic() >= child.again_at:
            child.process, child.since, child.again_at = self._spawn(child.program), time.monotonic(), None

    def _accompany(self, child: Child) -> None:
        """Print the child's new log lines. When it has ended, say so only if it failed."""
        over = not running(child.process)
        log = self.folder.log(child.program.name)
        with log.open("rb") as lines:
            lines.seek(child.told)
            said = lines.read()
        child.told += len(said)
        for line in said.decode(errors="replace").splitlines():
            self.say(f"  {line}")
        if over:
            self.children.remove(child)
            code = self._dismiss(child)
            if code:
                self.say(f"The {child.program.name} ended early ({_reason(code)}). Its log is {log}.")

    def _plan_again(self, child: Child) -> None:
        code = self._dismiss(child)
        lasted = time.monotonic() - child.since
        child.failures = 1 if lasted > SETTLED else child.failures + 1
        name, log = child.program.name, self.folder.log(child.program.name)
        if child.program.vital and child.failures >= ENOUGH:
            sentence = f"The {name} stopped {child.failures} times in a row, so all was stopped"
            raise from_log(sentence, log, self.folder.path)
        pause = min(LONGEST_PAUSE, FIRST_PAUSE * 2 ** (child.failures - 1))
        child.again_at = time.monotonic() + pause
        self.say(f"The {name} stopped by itself ({_reason(code)}); it starts again in {pause:g} s. Its log is {log}.")


def _reason(code: int) -> str:
    return f"signal {-code}" if code < 0 else f"exit code {code}"


@contextmanager
def listening() -> Iterator[Callable[[], bool]]:
    """Record stop signals. Inside the block they only change what the yielded function returns."""
    got: list[int] = []
    wanted = [signal.SIGINT, signal.SIGTERM]
    if signal.getsignal(signal.SIGHUP) is not signal.SIG_IGN:  # `nohup` asks to survive a closed terminal
        wanted.append(signal.SIGHUP)
    before = {each: signal.signal(each, lambda number, _: got.append(number)) for each in wanted}
    try:
        yield lambda: bool(got)
    finally:
        for each, handler in before.items():
            signal.signal(each, handler)
