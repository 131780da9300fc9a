"""The site of a fault run: the demonstration with its small portfolio alone, under the real supervisor.

Run as `python -m tests.faults.fault_site DATA PORT`.
"""

import os
import signal
import sys
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from fleet.management.embedded import MachineError, plan, site
from fleet.management.embedded.address import ListenAddress
from fleet.management.embedded.folder import Folder
from fleet.management.embedded.running_command import print_line


def make_plan(folder: Folder, address: ListenAddress, env: Mapping[str, str]) -> site.SitePlan:
    """Return the demonstration's plan without the large portfolios, which take minutes, and without its sign-ins."""
    return replace(plan.demo_plan(folder, address, env), background=None, last_words=None)


def main() -> None:
    """Run the site as the command does from a terminal."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
    signal.signal(signal.SIGHUP, signal.SIG_DFL)
    address = ListenAddress("127.0.0.1", int(sys.argv[2]))
    try:
        site.run_site(Path(sys.argv[1]), site.SiteRequest("demo", address, make_plan), print_line)
    except MachineError as trouble:
        sys.exit(str(trouble))


if __name__ == "__main__":
    main()
