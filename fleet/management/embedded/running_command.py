"""The base of commands that run a site: their options, and error sentences instead of tracebacks."""

import sys
from contextlib import suppress
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from fleet.management.embedded import site
from fleet.management.embedded.address import ListenAddress
from fleet.management.embedded.folder import default_folder
from fleet.management.embedded.machine_errors import MachineError


class RunningCommand(BaseCommand):
    """Runs a site of one `kind` by one plan until a stop is requested."""

    kind: str
    make_plan: site.MakePlan
    requires_system_checks = []  # they would load the whole site into the supervisor

    def add_arguments(self, parser: CommandParser) -> None:
        """Declare the data folder and the address."""
        parser.add_argument("--data", type=Path, help="the data folder, made if it is missing")
        parser.add_argument("--host", default="127.0.0.1", help="the address to listen on (default %(default)s)")
        parser.add_argument("--port", type=int, default=8000, help="the port to listen on (default %(default)s)")

    def handle(self, *args: object, **options: Any) -> None:
        """Run until a stop is requested. Prints a MachineError and exits with 1."""
        address = ListenAddress(options["host"], options["port"])
        try:
            request = site.SiteRequest(self.kind, address, self.make_plan)
            site.run_site(options["data"] or default_folder(self.kind), request, print_line)
        except MachineError as trouble:
            sys.exit(str(trouble))


def print_line(line: str) -> None:
    """Print a line at once. A closed terminal is ignored, so that the children can still be stopped."""
    with suppress(OSError):
        print(line, flush=True)
