"""`manage.py fit`: check whether the servers named in the environment are suitable."""

import os
import sys

from django.conf import settings
from django.core.management.base import BaseCommand

from fleet.management.embedded import server_checks


class Command(BaseCommand):
    """Prints one line per check."""

    help = "Say whether the servers of DATABASE_URL and REDIS_URL will do; exit code 1 if not."
    requires_system_checks = []

    def handle(self, *args: object, **options: object) -> None:
        """Check both servers and print the results. Exits with 1 if one is not suitable."""
        answers = server_checks.check_servers(
            settings.DATABASE_URL, settings.REDIS_URL, os.environ.get("DATABASE_OWNER_URL", "")
        )
        for answer in answers:
            self.stdout.write(str(answer))
        if not all(answer.good for answer in answers):
            sys.exit(1)
