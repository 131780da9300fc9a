"""`manage.py give_site_rights ROLE`: what the site's database role may do, after the migrations of the owner."""

from argparse import ArgumentParser

from django.core.management.base import BaseCommand, CommandError
from django.db import connection, transaction

from fleet.records.table_rights import give_site_rights


class Command(BaseCommand):
    """Gives the site's role its rights; run it as the role that owns the tables."""

    help = (
        "Give a database role the rights of the site: to read and add evidence, acts and log, and nothing more on "
        "them. Run it with the DATABASE_URL of the role that owns the tables."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the role."""
        parser.add_argument("role", help="the role that web and worker connect as")

    def handle(self, *args: object, role: str, **options: object) -> None:
        """Give the rights. Raises CommandError where the role owns the tables itself."""
        if role == connection.settings_dict["USER"]:
            raise CommandError("This role owns the tables: name another for the site.")
        with transaction.atomic():
            tables = give_site_rights(connection, role)
        self.stdout.write(f"{role} may read and add, but not change, {len(tables)} tables.")
