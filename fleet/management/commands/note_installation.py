"""`manage.py note_installation KIND`: note in the database whether it is a demonstration's or a lasting site's."""

from argparse import ArgumentParser

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from fleet.accounts import installation
from fleet.errors import Refused


class Command(BaseCommand):
    """Notes it once; a step of `up` and `demo`."""

    help = "Note what this database is for. It is noted once, and anything else is refused from then on."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the kind."""
        parser.add_argument("kind", choices=sorted(installation.KIND_NAMES))

    def handle(self, *args: object, kind: str, **options: object) -> None:
        """Note it. Raises CommandError where the database is something else."""
        try:
            installation.note_kind(kind, timezone.now())
        except Refused as refused:
            raise CommandError(refused.faults[0].message) from refused
