"""`manage.py make_demo`: make the demonstration's portfolios, once per database."""

from argparse import ArgumentParser
from datetime import datetime
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from fleet.accounts import installation
from fleet.errors import Refused
from fleet.management.demo import cast, parallel, portfolio_setup, story
from fleet.management.town.town import TownSize

DEFAULT_SEED = 7


class Command(BaseCommand):
    """Makes the demonstration, or with --sign-ins only prints who may sign in."""

    help = (
        "Make the portfolios of the demonstration that do not exist yet: Sorrelgate Homes at once, then two property "
        "managers with the past of their boilers, each appearing only when it is complete. Prints its progress."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare what to make, and how much of it."""
        parser.add_argument("--sign-ins", action="store_true", help="print the sign-ins and make nothing")
        parser.add_argument("--first", action="store_true", help="make only Sorrelgate Homes, which takes seconds")
        parser.add_argument("--seed", type=int, default=DEFAULT_SEED, help="the luck of the town (default %(default)s)")
        parser.add_argument("--houses", type=int, default=27, help="of each property manager (default %(default)s)")
        parser.add_argument("--years", type=float, default=3.0, help="of past (default %(default)s)")
        parser.add_argument("--truth", type=Path, metavar="FILE", help="write here what really failed, as JSON")

    def handle(self, *args: object, **options: object) -> None:
        """Make the demonstration, or print the sign-ins."""
        if options["sign_ins"]:
            self.stdout.write(cast.sign_ins())
            parallel.sign_ins(portfolio_setup.PASSWORD, self.stdout.write)
            return
        now = timezone.now()
        _refuse_lasting_site(now)
        story.make(settings.ROOT / "fixtures" / "demo" / "register.csv", now)
        if not options["first"]:
            _make_town(now, options)


def _refuse_lasting_site(now: datetime) -> None:
    try:
        installation.refuse_unless_demonstration(now)
    except Refused as refused:
        raise CommandError(refused.faults[0].message) from refused


def _make_town(now: datetime, options: dict[str, Any]) -> None:
    size = TownSize(options["houses"], options["years"])
    if options["truth"]:
        options["truth"].write_text(parallel.truth_as_json(options["seed"], now, size), encoding="utf-8")
    parallel.load_all(options["seed"], now, size)
