"""`manage.py rebuild`: judge every boiler again from its facts."""

from django.core.management.base import BaseCommand
from django.utils import timezone

from fleet import pipeline


class Command(BaseCommand):
    """Prints how many rows were written: 0 if every conclusion was up to date."""

    help = "Judge every boiler again from its facts and print how many rows had to be written."

    def handle(self, *args: object, **options: object) -> None:
        """Run the rebuild as of now."""
        self.stdout.write(f"{pipeline.rebuild(at=timezone.now())} rows written")
