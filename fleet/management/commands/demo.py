"""`manage.py demo`: everything, with an invented portfolio, under one supervisor."""

from fleet.management.embedded import plan
from fleet.management.embedded.running import RunningCommand


class Command(RunningCommand):
    """Runs a demonstration in a folder of its own."""

    help = "Run Gaugeglass with an invented portfolio: its own database, broker, worker and web server."
    kind = "demo"
    make_plan = staticmethod(plan.demo)
