"""`manage.py up`: run a lasting site under one supervisor."""

from fleet.management.embedded import plan
from fleet.management.embedded.running_command import RunningCommand


class Command(RunningCommand):
    """Runs a lasting site."""

    help = "Run a lasting site: its own database, broker, worker and web server, data in one folder."
    kind = "site"
    make_plan = staticmethod(plan.site_plan)
