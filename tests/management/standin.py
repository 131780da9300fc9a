"""A small site under the real supervisor: real database and broker, a real worker, beat and web server, no tables.

Run as `python -m tests.management.standin DATA PORT [full | failing]`: all programs, or one beside it that fails.
"""

import signal
import sys
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from fleet.management.embedded import MachineError, site
from fleet.management.embedded.address import ListenAddress
from fleet.management.embedded.folder import Folder
from fleet.management.embedded.plan import OWNER_URL
from fleet.management.embedded.processes import Program
from fleet.management.embedded.program_copy import CODE_PARTS
from fleet.management.embedded.running_command import print_line

ROOT = str(Path(__file__).resolve().parents[2])
TASKS = "tests.management.standin_tasks"
STEP = """
import os, psycopg
with psycopg.connect(os.environ["DATABASE_OWNER_URL"] or os.environ["DATABASE_URL"]) as connection:
    connection.execute("CREATE TABLE IF NOT EXISTS starts (at timestamptz DEFAULT now())")
    connection.execute("GRANT SELECT, INSERT ON starts TO PUBLIC")
    connection.execute("INSERT INTO starts DEFAULT VALUES")
"""


def plan(folder: Folder, address: ListenAddress, env: Mapping[str, str]) -> site.SitePlan:
    """Return a step that writes a row, and the programs that stay."""

    # The task library would load Gaugeglass itself when it sees the settings named.
    env = {name: value for name, value in env.items() if name != "DJANGO_SETTINGS_MODULE"}
    site_env = {name: value for name, value in env.items() if name != OWNER_URL}

    def program(name: str, *arguments: str) -> Program:
        return Program(name, (sys.executable, *arguments), site_env, cwd=ROOT)

    # What the owner's account compiled first, the site's could neither read nor replace (`tests/servers.py`).
    owner_env = {name: value for name, value in env.items() if name != "PYTHONPYCACHEPREFIX"}
    step = replace(program("step", "-c", STEP), env=owner_env, for_owner=True)
    celery = ("-m", "celery", "-A", TASKS)
    worker = program("worker", *celery, "worker", "--concurrency", "2", "--without-mingle", "--without-gossip")
    beat = program("beat", *celery, "beat", "--pidfile", "")
    web = program("web", "-m", "tests.management.slow_site", address.host, str(address.port))
    words = program("sign-ins", "-c", "print('sign in as somebody')")
    code = "import sys; print('half of it'); sys.exit(3)" if "failing" in sys.argv else "print('all of it')"
    behind = replace(program("beside", "-c", code), once=True)
    late = program("late", "-c", "import time; time.sleep(3600)")
    staff = (worker, beat, web) if "full" in sys.argv else (web,)
    return site.SitePlan((step,), staff, words, background=behind, late_staff=(late,))


def main() -> None:
    """Run the site as the commands do from a terminal, also where whoever runs the tests ignores hang-ups."""
    signal.signal(signal.SIGHUP, signal.SIG_DFL)
    address = ListenAddress("127.0.0.1", int(sys.argv[2]))
    try:
        site.run_site(Path(sys.argv[1]), site.SiteRequest("demo", address, plan, (*CODE_PARTS, "tests")), print_line)
    except MachineError as trouble:
        sys.exit(str(trouble))


if __name__ == "__main__":
    main()
