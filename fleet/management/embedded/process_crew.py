"""The child processes of one supervisor: started, watched, restarted when they die, stopped last first."""

import signal
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field

from fleet.management.embedded.folder import Folder
from fleet.management.embedded.machine_errors import error_from_log
from fleet.management.embedded.processes import Program, end_process, is_running, spawn_program
from fleet.management.embedded.records import ProcessMark, ProcessRecords

Say = Callable[[str], None]

FIRST_PAUSE_SECONDS, MAX_PAUSE_SECONDS, STABLE_SECONDS = 0.5, 30.0, 60.0
MAX_FAILURES = 5  # in a row, of database or broker; then the site is stopped
LOOK_EVERY_SECONDS, LOGS_EVERY_SECONDS = 0.2, 60.0


class StopRequested(Exception):
    """Raised when a signal asks to stop while the supervisor waits for a child."""


@dataclass(slots=True)
class ChildProcess:
    """A running program, or one that waits for its restart."""

    program: Program
    process: subprocess.Popen[bytes]
    since: float = field(default_factory=time.monotonic)
    failures: int = 0
    restart_at: float | None = None
    shown_log_bytes: int = 0  # bytes of its log that were printed


class ProcessCrew:
    """Manages only processes it started. `is_stop_requested` returns whether all should stop."""

    def __init__(self, folder: Folder, say: Say, is_stop_requested: Callable[[], bool] = lambda: False) -> None:
        self.folder, self.say, self.is_stop_requested = folder, say, is_stop_requested
        self.records = ProcessRecords(folder.path / "children.json")
        self.children: list[ChildProcess] = []
        self._endings = ExitStack()  # runs every callback, also when one of them fails

    def run_step(self, program: Program) -> None:
        """Run a step to its end. Raises MachineError where it fails."""
        child = self._start_child(program)
        self._wait_until(lambda: not is_running(child.process))
        if self._end_child(child):
            raise error_from_log(
                f"The step `{program.name}` failed", self.folder.log_path(program.name), self.folder.path
            )

    def start_program(self, program: Program, ready: Callable[[], bool] = lambda: True, limit: float = 120.0) -> None:
        """Start a program that stays, and wait until it is ready. Raises MachineError after `limit` seconds."""
        child = self._start_child(program)
        until = time.monotonic() + limit
        self._wait_until(lambda: not is_running(child.process) or ready() or time.monotonic() > until)
        if not is_running(child.process) or time.monotonic() > until:
            raise error_from_log(
                f"The {program.name} does not start", self.folder.log_path(program.name), self.folder.path
            )
        self.children.append(child)

    def watch_children(self) -> None:
        """Look after the children and their logs until a stop is requested."""
        logs_at = 0.0
        while not self.is_stop_requested():
            for child in list(self.children):
                self._look_after(child)
            if time.monotonic() >= logs_at:
                self.folder.set_large_logs_aside()
                logs_at = time.monotonic() + LOGS_EVERY_SECONDS
            time.sleep(LOOK_EVERY_SECONDS)

    def stop_all(self) -> None:
        """Stop all children, last started first, each within its patience."""
        self._endings.close()
        self.children.clear()

    def _start_child(self, program: Program) -> ChildProcess:
        log = self.folder.log_path(program.name)
        log_size = log.stat().st_size if log.exists() else 0
        child = ChildProcess(program, self._spawn_program(program), shown_log_bytes=log_size)
        self._endings.callback(self._end_child, child)
        return child

    def _spawn_program(self, program: Program) -> subprocess.Popen[bytes]:
        process = spawn_program(program, self.folder.log_path(program.name))
        self.records.add_mark(ProcessMark.of_child(program.name, process.pid, program.stop_signal))
        return process

    def _end_child(self, child: ChildProcess) -> int:
        code = end_process(child.process, child.program.stop_signal, child.program.patience)
        self.records.drop_mark(child.program.name)
        return code

    def _wait_until(self, is_over: Callable[[], bool]) -> None:
        while not is_over():
            if self.is_stop_requested():
                raise StopRequested
            time.sleep(LOOK_EVERY_SECONDS / 4)

    def _look_after(self, child: ChildProcess) -> None:
        if child.program.once:
            self._relay_output(child)
        elif child.restart_at is None:
            if not is_running(child.process):
                self._plan_restart(child)
        elif time.monotonic() >= child.restart_at:
            child.process, child.since, child.restart_at = self._spawn_program(child.program), time.monotonic(), None

    def _relay_output(self, child: ChildProcess) -> None:
        """Print the child's new log lines. When it has ended, say so only if it failed."""
        has_ended = not is_running(child.process)
        log = self.folder.log_path(child.program.name)
        with log.open("rb") as lines:
            lines.seek(child.shown_log_bytes)
            output = lines.read()
        child.shown_log_bytes += len(output)
        for line in output.decode(errors="replace").splitlines():
            self.say(f"  {line}")
        if has_ended:
            self.children.remove(child)
            code = self._end_child(child)
            if code:
                self.say(f"The {child.program.name} ended early ({_describe_exit(code)}). Its log is {log}.")

    def _plan_restart(self, child: ChildProcess) -> None:
        code = self._end_child(child)
        lasted = time.monotonic() - child.since
        child.failures = 1 if lasted > STABLE_SECONDS else child.failures + 1
        name, log = child.program.name, self.folder.log_path(child.program.name)
        if child.program.vital and child.failures >= MAX_FAILURES:
            sentence = f"The {name} stopped {child.failures} times in a row, so all was stopped"
            raise error_from_log(sentence, log, self.folder.path)
        pause = min(MAX_PAUSE_SECONDS, FIRST_PAUSE_SECONDS * 2 ** (child.failures - 1))
        child.restart_at = time.monotonic() + pause
        self.say(
            f"The {name} stopped by itself ({_describe_exit(code)}); it starts again in {pause:g} s. Its log is {log}."
        )


def _describe_exit(code: int) -> str:
    return f"signal {-code}" if code < 0 else f"exit code {code}"


@contextmanager
def listen_for_signals() -> Iterator[Callable[[], bool]]:
    """Record stop signals. Inside the block they only change what the yielded function returns."""
    received: list[int] = []
    stop_signals = [signal.SIGINT, signal.SIGTERM]
    if signal.getsignal(signal.SIGHUP) is not signal.SIG_IGN:  # `nohup` asks to survive a closed terminal
        stop_signals.append(signal.SIGHUP)
    previous_handlers = {
        stop_signal: signal.signal(stop_signal, lambda number, _: received.append(number))
        for stop_signal in stop_signals
    }
    try:
        yield lambda: bool(received)
    finally:
        for stop_signal, handler in previous_handlers.items():
            signal.signal(stop_signal, handler)
