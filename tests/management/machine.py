"""What the tests of this folder share: a stand-in site as a real process, and looks at the process table."""

import json
import os
import resource
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import psycopg

from fleet.management.embedded import process_identity

ROOT = Path(__file__).resolve().parents[2]
NOBODY = 65534
AS_NOBODY: dict[str, Any] = {"user": NOBODY, "group": NOBODY, "extra_groups": []}
GIVEN = {"DATABASE_URL", "DATABASE_OWNER_URL", "REDIS_URL", "GAUGEGLASS_DATA"}
# Those of the run that this test is part of say nothing of the one it starts.
OF_THIS_RUN = ("PYTEST_XDIST_WORKER", "PYTEST_XDIST_WORKER_COUNT", "PYTEST_XDIST_TESTRUNUID", "GAUGEGLASS_TEST_SERVERS")
CLEAN = {name: value for name, value in os.environ.items() if name not in (*GIVEN, *OF_THIS_RUN)}


def free_port() -> int:
    """Return a port nobody listens on at this moment."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        return int(server.getsockname()[1])


def eventually(true: Callable[[], Any], limit: float = 20.0) -> bool:
    """Return whether `true` came true in time; what cannot be asked yet counts as not yet."""
    until = time.monotonic() + limit
    while time.monotonic() < until:
        with suppress(OSError, ValueError, psycopg.OperationalError):
            if true():
                return True
        time.sleep(0.1)
    return False


MAX_SLOWDOWN = 4.0  # beyond it a limit in seconds says nothing of the site any more


def measure_slowdown() -> float:
    """Return how many times longer than its own work a process takes here now; 1 on an idle machine.

    The work is what every program of the site begins with: an interpreter that loads its libraries. It is done twice,
    as the first may wait for the disk.
    """
    return min(_time_against_work() for _ in range(2))


def _time_against_work() -> float:
    began, work_before = time.monotonic(), _work_of_children()
    subprocess.run([sys.executable, "-c", "import django.db.models, psycopg, redis"], env=CLEAN, check=True)
    return max(1.0, (time.monotonic() - began) / (_work_of_children() - work_before))


def _work_of_children() -> float:
    """Return the seconds for which children that ended have had a processor."""
    usage = resource.getrusage(resource.RUSAGE_CHILDREN)
    return usage.ru_utime + usage.ru_stime


def descendants(pid: int) -> dict[int, str]:
    """Return everything `pid` started, and what that started, each with its start."""
    table = subprocess.run(["ps", "-eo", "pid=,ppid="], capture_output=True, text=True, check=True).stdout
    parents = [tuple(map(int, line.split())) for line in table.splitlines()]
    found = {pid}
    for _ in range(6):
        found |= {child for child, parent in parents if parent in found}
    return {each: process_identity.start_of(each) for each in found - {pid} if process_identity.start_of(each)}


def alive(processes: dict[int, str]) -> set[int]:
    """Return those that still run, the same process and not only the same number."""
    return {pid for pid, started in processes.items() if process_identity.start_of(pid) == started}


def command_lines(pids: set[int]) -> dict[int, list[str]]:
    """Return what each of them runs, so that a check that finds one left says which."""
    return {pid: process_identity.arguments(pid) for pid in pids}


def find_lasting_descendants(pid: int, seconds: float = 1.0) -> dict[int, str]:
    """Return those of `descendants` that still run so many seconds later: the database has helpers of a moment."""
    first = descendants(pid)
    time.sleep(seconds)
    return {each: first[each] for each in alive(first)}


def roomy(parent: str = "/tmp") -> Path:
    """Return a new folder that the servers' account may pass through."""
    path = Path(tempfile.mkdtemp(prefix="gg-", dir=parent))
    path.chmod(0o755)
    return path


class Site:
    """A stand-in site in a process of its own."""

    def __init__(self, data: Path, *words: str, port: int = 0, **spawning: Any) -> None:
        self.data, self.port = data, port or free_port()
        self.printed = spawning.pop("printed", Path(f"{data}.{self.port}.out"))
        env = spawning.pop("env", CLEAN)
        python = spawning.pop("python", sys.executable)
        argv = [python, "-m", "tests.management.standin", str(data), str(self.port), *words]
        with self.printed.open("w") as out:
            self.process = subprocess.Popen(
                argv, cwd=ROOT, env=env, stdout=out, stderr=out, start_new_session=True, **spawning
            )

    @property
    def output(self) -> str:
        return self.printed.read_text()

    @property
    def told(self) -> dict[str, Any]:
        try:
            return json.loads((self.data / "site.json").read_text())
        except FileNotFoundError:  # a site that ended removes it: its last words say why
            raise FileNotFoundError(self.output) from None

    def opened(self) -> bool:
        """Wait until the site says how to stop it; on a machine with ten at work on two cores it takes 10 s."""
        over = eventually(lambda: "Ctrl-C" in self.output or self.process.poll() is not None, limit=120.0)
        return over and "Ctrl-C" in self.output

    def web(self) -> int:
        """Return the process that answers the web."""
        with urllib.request.urlopen(f"http://127.0.0.1:{self.port}/", timeout=5) as answer:
            return int(answer.read().split()[0])

    def child(self, name: str) -> int:
        """Return the process number of a child."""
        marks = json.loads((self.data / "children.json").read_text())
        return next((mark["pid"] for mark in marks if mark["name"] == name), 0)

    def end(self, how: signal.Signals = signal.SIGINT) -> int:
        """Ask it to stop and return its exit code."""
        if self.process.poll() is None:
            self.process.send_signal(how)
        return self.process.wait(60)


@contextmanager
def site(*words: str, data: Path | None = None, **more: Any) -> Iterator[Site]:
    """Run a stand-in site for the block; what a failed test leaves is stopped by the site's own start and stop."""
    home = roomy()
    made = Site(data or home / "data", *words, **more)
    try:
        yield made
    finally:
        made.end()
        shutil.rmtree(home, ignore_errors=True)


def found_beside(python: str) -> dict[str, str]:
    """Return the environment in which a copied interpreter finds its shared library."""
    return {"PATH": "/usr/bin:/bin", "LD_LIBRARY_PATH": str(Path(python).parent.parent / "lib")}


def for_a_plain_user(python: str, home: Path) -> dict[str, Any]:
    """Return what to start a site with so that it runs as a user without any rights, in `home`."""
    os.chown(home, NOBODY, NOBODY)
    path = os.pathsep.join((str(ROOT), *(each for each in sys.path if each.endswith("site-packages"))))
    env = {**found_beside(python), "HOME": str(home), "PYTHONPATH": path, "PYTHONDONTWRITEBYTECODE": "1"}
    return {"python": python, "env": env, **AS_NOBODY}
