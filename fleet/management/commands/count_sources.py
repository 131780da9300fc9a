"""`manage.py count_sources`: print on what the numbers of the catalogue rest, and which are not verified yet."""

from collections.abc import Iterator

from django.conf import settings
from django.core.management.base import BaseCommand

from fleet.catalog.citations import SourceStanding, count_by_standing, list_unverified
from fleet.catalog.parse import read_release
from fleet.rules.catalogue import Catalogue


class Command(BaseCommand):
    """Prints the counts, then a line for each number that is not verified yet."""

    help = "Print on what the numbers of the shipped catalogue rest, and which are not verified yet."
    requires_system_checks = []

    def handle(self, *args: object, **options: object) -> None:
        """Print the counts and the list."""
        for line in source_lines(read_release(settings.ROOT / "fixtures" / "catalogue", 0)[1]):
            self.stdout.write(line)


def source_lines(catalogue: Catalogue) -> Iterator[str]:
    """Yield the counts in one line, then each number that rests on a clause nobody has seen yet."""
    counts = count_by_standing(catalogue)
    parts = ", ".join(f"{counts[standing]} {standing.replace('_', ' ')}" for standing in SourceStanding)
    yield f"{counts.total()} numbers: {parts}; {len(catalogue.sources)} documents."
    for cited in list_unverified(catalogue):
        yield f"{cited.place}: {cited.value} ({cited.source})"
