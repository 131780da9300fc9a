"""The child processes of one supervisor: started, watched, restarted when they die, stopped last first."""

import signal
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field

from fleet.management.embedded.disk_reserve import DiskReserve
from fleet.management.embedded.folder import Folder
from fleet.management.embedded.machine_errors import (
    MachineError,
    error_from_log,
    ignore_full_disk,
    make_printable,
    reports_full_disk,
)
from fleet.management.embedded.processes import Program, end_process, is_running, spawn_program
from fleet.management.embedded.records import ProcessMark, ProcessRecords

Say = Callable[[str], None]

# A child that was ready, or ran a few seconds, did start: it begins again at once. Any other is tried ever slower.
FIRST_PAUSE_SECONDS, MAX_PAUSE_SECONDS, STABLE_SECONDS = 0.1, 15.0, 5.0
MANY_FAILURES = 8  # in a row; from then on only each eighth is told
LOOK_EVERY_SECONDS, READY_EVERY_SECONDS, DISK_EVERY_SECONDS, LOGS_EVERY_SECONDS = 0.2, 0.5, 2.0, 60.0


class StopRequested(Exception):
    """Raised when a signal asks to stop while the supervisor waits for a child."""


@dataclass(slots=True)
class ChildProcess:
    """A running program, or one that waits for its restart."""

    program: Program
    process: subprocess.Popen[bytes]
    ready: Callable[[], bool] | None = None  # None: known only by how long it runs
    was_ready: bool = False
    ask_ready_at: float = 0.0
    since: float = field(default_factory=time.monotonic)
    failures: int = 0
    restart_at: float | None = None
    log_start: int = 0  # bytes of its log that are of earlier starts, or were printed


class ProcessCrew:
    """Manages only processes it started. `is_stop_requested` returns whether all should stop."""

    def __init__(self, folder: Folder, say: Say, is_stop_requested: Callable[[], bool] = lambda: False) -> None:
        self.folder, self.say, self.is_stop_requested = folder, say, is_stop_requested
        self.records = ProcessRecords(folder.path / "children.json")
        self.reserve = DiskReserve(folder.path, say)
        self.children: list[ChildProcess] = []
        self._endings = ExitStack()  # runs every callback, also when one of them fails

    def run_step(self, program: Program) -> None:
        """Run a step to its end. Raises MachineError where it fails."""
        child = self._start_child(program)
        self._wait_until(lambda: not is_running(child.process))
        if self._end_child(child):
            raise self._explain_failure(child, f"The step `{program.name}` failed")

    def start_program(self, program: Program, ready: Callable[[], bool] | None = None, limit: float = 120.0) -> None:
        """Start a program that stays, and wait until it is ready. Raises MachineError after `limit` seconds."""
        child = self._start_child(program)
        child.ready = ready
        until = time.monotonic() + limit
        self._wait_until(lambda: not is_running(child.process) or ready is None or ready() or time.monotonic() > until)
        if not is_running(child.process) or time.monotonic() > until:
            raise self._explain_failure(child, f"The {program.name} does not start")
        child.was_ready = ready is not None
        self.children.append(child)

    def watch_children(self) -> None:
        """Look after the children, their logs and their disk until a stop is requested."""
        logs_at = disk_at = 0.0
        while not self.is_stop_requested():
            for child in list(self.children):
                self._look_after(child)
            now = time.monotonic()
            if now >= disk_at:
                self.reserve.look_at_disk()
                disk_at = now + DISK_EVERY_SECONDS
            if now >= logs_at:
                with ignore_full_disk():
                    self.folder.set_large_logs_aside()
                logs_at = now + LOGS_EVERY_SECONDS
            time.sleep(LOOK_EVERY_SECONDS)

    def stop_all(self) -> None:
        """Stop all children, last started first, each within its patience."""
        self._endings.close()
        self.children.clear()

    def _start_child(self, program: Program) -> ChildProcess:
        log_start = self._log_size(program)
        child = ChildProcess(program, self._spawn_program(program), log_start=log_start)
        self._endings.callback(self._end_child, child)
        return child

    def _log_size(self, program: Program) -> int:
        log = self.folder.log_path(program.name)
        return log.stat().st_size if log.exists() else 0

    def _spawn_program(self, program: Program) -> subprocess.Popen[bytes]:
        process = spawn_program(program, self.folder.log_path(program.name))
        self.records.add_mark(ProcessMark.of_child(program, process.pid))
        return process

    def _end_child(self, child: ChildProcess) -> int:
        """Stop a child, or what a child that ended by itself has left, and return its exit code."""
        code = end_process(child.process, child.program.stop_signal, child.program.patience)
        self.records.end_mark(child.program.name)
        return code

    def _explain_failure(self, child: ChildProcess, sentence: str) -> MachineError:
        log = self.folder.log_path(child.program.name)
        return error_from_log(sentence, log, child.log_start, self.folder.path)

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
                self._plan_restart(child, _describe_exit(self._end_child(child)))
            elif child.ready and not child.was_ready and time.monotonic() >= child.ask_ready_at:
                child.was_ready = child.ready()
                child.ask_ready_at = time.monotonic() + READY_EVERY_SECONDS
        elif time.monotonic() >= child.restart_at:
            self._restart(child)

    def _restart(self, child: ChildProcess) -> None:
        child.since, child.log_start, child.was_ready = time.monotonic(), self._log_size(child.program), False
        try:
            child.process = self._spawn_program(child.program)
        except OSError as error:  # too many processes, too many files, no room
            self._plan_restart(child, error.strerror or str(error))
        else:
            child.restart_at = None

    def _relay_output(self, child: ChildProcess) -> None:
        """Print the child's new log lines. When it has ended, say so only if it failed."""
        has_ended = not is_running(child.process)
        log = self.folder.log_path(child.program.name)
        with log.open("rb") as lines:
            lines.seek(child.log_start)
            output = lines.read()
        child.log_start += len(output)
        for line in make_printable(output.decode(errors="replace")).splitlines():
            self.say(f"  {line}")
        if has_ended:
            self.children.remove(child)
            code = self._end_child(child)
            if code:
                self.say(f"The {child.program.name} ended early ({_describe_exit(code)}). Its log is {log}.")

    def _plan_restart(self, child: ChildProcess, ending: str) -> None:
        """Have a child that ended start again, however often it fails. The others go on meanwhile."""
        did_start = child.was_ready or time.monotonic() - child.since > STABLE_SECONDS
        child.failures = 1 if did_start else child.failures + 1
        pause = min(MAX_PAUSE_SECONDS, FIRST_PAUSE_SECONDS * 2 ** min(child.failures - 1, 16))
        child.restart_at = time.monotonic() + pause
        log = self.folder.log_path(child.program.name)
        is_disk_full = child.program.vital and (self.reserve.is_disk_full() or reports_full_disk(log, child.log_start))
        if is_disk_full and self.reserve.give_up():
            self.say("The room kept in reserve was given up, so that the site can show what it has.")
        if child.failures <= MANY_FAILURES or child.failures % MANY_FAILURES == 0:
            times = f" {child.failures} times in a row" if child.failures > 1 else ""
            reason = ", the disk is full" if is_disk_full else ""
            event = f"The {child.program.name} stopped by itself{times} ({ending}{reason})"
            self.say(f"{event}; it starts again in {pause:g} s. Its log is {log}.")


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
