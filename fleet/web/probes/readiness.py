"""Whether the site can serve: the database answers, its tables are those of this program, a catalogue is loaded.

The words name neither addresses nor what the database said, which may hold a password.
"""

from functools import cache

from django.db import DatabaseError, connection, transaction
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder

from fleet.catalog import queries as catalog
from fleet.errors import describe_fault

STATEMENT_MILLISECONDS = 2000  # a database that hangs does not answer; whoever asks should hear so and not wait

NO_DATABASE = describe_fault("database_unreachable", "The database does not answer.")
NO_CATALOGUE = describe_fault("catalogue_missing", "No catalogue is loaded: run load_catalogue.")


def find_missing_parts() -> list[dict[str, str]]:
    """Return what the site lacks to serve, [] where it lacks nothing."""
    try:
        with transaction.atomic():
            with connection.cursor() as cursor:
                cursor.execute(f"SET LOCAL statement_timeout = {STATEMENT_MILLISECONDS}")
            return _find_missing_rows()
    except DatabaseError:
        connection.close()  # what is broken is not kept for the next request
        return [NO_DATABASE]


def _find_missing_rows() -> list[dict[str, str]]:
    """Return what the tables lack. Without all of them the catalogue's may not be there to be asked."""
    missing = migrations_of_program() - set(MigrationRecorder(connection).applied_migrations())
    if missing:
        return [describe_fault("migrations_missing", f"{len(missing)} migrations are not applied: run migrate.")]
    return [] if catalog.newest_release_number() else [NO_CATALOGUE]


@cache
def migrations_of_program() -> frozenset[tuple[str, str]]:
    """Return the migrations that this program brings, by app and name. They are read once: files do not change."""
    return frozenset(MigrationLoader(None).disk_migrations)
