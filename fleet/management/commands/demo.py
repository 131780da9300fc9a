"""`manage.py demo`: a whole site with an invented portfolio, under one supervisor."""

import os
import sys

from fleet.management.embedded import plan
from fleet.management.embedded.running_command import RunningCommand

LOOPBACK_HOSTS = ("127.0.0.1", "::1", "localhost")


class Command(RunningCommand):
    """Runs a demonstration in a folder of its own."""

    help = "Run Gaugeglass with an invented portfolio: its own database, broker, worker and web server."
    kind = "demo"
    make_plan = staticmethod(plan.demo_plan)

    def handle(self, *args: object, **options: object) -> None:
        """Run the demonstration. It listens on loopback only, since its sign-ins are public."""
        if options["host"] not in LOOPBACK_HOSTS:
            sys.exit("The passwords of a demonstration are known to all: it answers on this machine only.")
        if os.environ.get("GAUGEGLASS_HTTPS") == "1":
            sys.exit("The passwords of a demonstration are known to all: it is not served over HTTPS. Use `up`.")
        super().handle(*args, **options)
