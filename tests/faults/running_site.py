"""A site of a fault run as a process: started in a folder of its own, looked at and stopped."""

import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fleet.management.embedded import process_identity
from tests.management.machine import CLEAN, ROOT, descendants, eventually, free_port

START_SECONDS = 300.0
PROGRAMS = ("web", "worker", "delivery", "beat", "postgres", "broker")


@dataclass
class RunningSite:
    """One site with its process, folder and port."""

    process: "subprocess.Popen[bytes]"
    data: Path
    port: int
    output_file: Path
    channels: Mapping[str, str]

    @property
    def output(self) -> str:
        """What the supervisor has printed."""
        return self.output_file.read_text()

    def pid_of(self, name: str) -> int:
        """Return the process number of a program, 0 while it does not run."""
        try:
            marks = json.loads((self.data / "children.json").read_text())
        except (FileNotFoundError, ValueError):
            return 0
        return next((mark["pid"] for mark in marks if mark["name"] == name), 0)

    def processes_of(self, name: str) -> dict[int, str]:
        """Return a program's main process and all below it, each with its start; {} while it does not run."""
        pid = self.pid_of(name)
        start = process_identity.start_of(pid) if pid else ""
        return {pid: start, **descendants(pid)} if start else {}

    def broker_admin_url(self) -> str:
        """Return the address of who may do everything at the broker."""
        keys = json.loads((self.data / "keys.json").read_text())
        socket = json.loads((self.data / "site.json").read_text())["redis_url"].rpartition("@")[2]
        return f"redis+socket://:{keys['broker']}@{socket}"

    def ask_helper(self, module: str, *arguments: str) -> Any:
        """Run a module of this folder beside the site, as its commands run, and return the JSON that it prints."""
        env = {**CLEAN, **self.channels, "GAUGEGLASS_DATA": str(self.data), "DJANGO_SETTINGS_MODULE": "fleet.settings"}
        argv = [sys.executable, "-m", f"tests.faults.{module}", *arguments]
        done = subprocess.run(argv, cwd=ROOT, env=env, capture_output=True, text=True, check=False)
        if done.returncode:
            raise RuntimeError(f"{module}: {done.stderr[-3000:]}")
        return json.loads(done.stdout.splitlines()[-1])


@contextmanager
def run_fault_site(channels: Mapping[str, str]) -> Iterator[RunningSite]:
    """Run a site in a temporary folder until the block ends. Its sweeps come every 2 s and its keys have no limit."""
    home = Path(tempfile.mkdtemp(prefix="gg-", dir="/tmp"))
    home.chmod(0o755)
    port, output_file = free_port(), home / "output"
    limits = {"GAUGEGLASS_SWEEP_SECONDS": "2", "GAUGEGLASS_WRITES_A_MINUTE": "100000"}
    env = {**CLEAN, **channels, **limits, "GAUGEGLASS_READS_A_MINUTE": "100000"}
    argv = [sys.executable, "-m", "tests.faults.fault_site", str(home / "data"), str(port)]
    with output_file.open("w") as output:
        process = subprocess.Popen(argv, cwd=ROOT, env=env, stdout=output, stderr=output, start_new_session=True)
    running = RunningSite(process, home / "data", port, output_file, channels)
    try:
        eventually(lambda: "Stop it with" in running.output or process.poll() is not None, START_SECONDS)
        if process.poll() is not None or "Stop it with" not in running.output:
            raise RuntimeError(f"The site did not start: {running.output}")
        yield running
    finally:
        _end_site(process)
        if "GAUGEGLASS_KEEP_FAULTS" not in os.environ:
            shutil.rmtree(home, ignore_errors=True)


def _end_site(process: "subprocess.Popen[bytes]") -> None:
    if process.poll() is None:
        process.terminate()
        process.wait(120)
