"""`manage.py load_catalogue [FOLDER]`: load the catalogue, or print all its faults."""

from argparse import ArgumentParser
from datetime import UTC, datetime
from pathlib import Path

from django.conf import settings
from django.core.management.base import BaseCommand

from fleet import pipeline
from fleet.catalog.models import Release
from fleet.errors import Fault, Refused


class Command(BaseCommand):
    """Prints one line, or one line per fault."""

    help = "Load the catalogue from a folder; the same content again changes nothing."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the folder; the default is the one shipped with the code."""
        parser.add_argument("folder", nargs="?", type=Path, default=settings.ROOT / "fixtures" / "catalogue")

    def handle(self, *args: object, folder: Path, **options: object) -> None:
        """Load the catalogue, or print every fault and exit with 1."""
        try:
            self.stdout.write(_describe_release(pipeline.load_catalogue(folder=folder, at=datetime.now(UTC))))
        except Refused as refused:
            for fault in refused.faults:
                self.stderr.write(_describe_fault(fault))
            raise SystemExit(1) from refused


def _describe_release(release: Release) -> str:
    counts = ", ".join(f"{len(rows)} {file.partition('.')[0]}" for file, rows in release.content.items())
    return f"Catalogue release {release.number}, from {release.starts_on or 'the beginning'}: {counts}."


def _describe_fault(fault: Fault) -> str:
    file, line, column = (*fault.at, "", "", "")[:3]
    return f"{file}:{line}: {column}: {fault.message}"
