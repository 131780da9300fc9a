"""`manage.py make_demo`: the demonstration portfolio, once per database."""

from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand
from django.utils import timezone

from fleet.management.demo import cast, story


class Command(BaseCommand):
    """Makes the demonstration, or with --sign-ins only says who may sign in to it."""

    help = "Make the demonstration portfolio if it is not there yet."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take --sign-ins."""
        parser.add_argument("--sign-ins", action="store_true", help="print the sign-ins and make nothing")

    def handle(self, *args: Any, **options: Any) -> None:
        """Make it, or print the sign-ins."""
        if options["sign_ins"]:
            self.stdout.write(cast.sign_ins())
            return
        story.make(settings.ROOT / "fixtures" / "demo" / "register.csv", timezone.now())
