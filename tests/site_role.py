"""Tests act as the site's database role; only what sets a test up or cleans up behind it acts as the tables' owner.

The run's own server knows both roles, and there the owner may act as the site.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.conf import settings
from django.db import connection, transaction

from fleet.management.embedded.postgres import SITE_ROLE
from fleet.records.table_rights import give_site_rights

AS_SITE = f" -c role={SITE_ROLE}"


def act_as_site(blocker: Any) -> None:
    """Give the site's role its rights in the test database, and have every connection from now on act as that role."""
    with blocker.unblock():
        give_site_rights(connection, SITE_ROLE)
        _database_options()["options"] += AS_SITE
        connection.close()


def act_as_owner(blocker: Any) -> None:
    """Have every connection from now on act as the role that owns the tables."""
    options = _database_options()
    options["options"] = options["options"].replace(AS_SITE, "")
    with blocker.unblock():
        connection.close()


@contextmanager
def as_tables_owner() -> Iterator[None]:
    """Act as the tables' owner inside the block, on this connection. An error undoes the change of role, too."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SELECT current_user")
        (role,) = cursor.fetchone()
        cursor.execute("SET ROLE NONE")
        yield
        cursor.execute(f'SET ROLE "{role}"')


def _database_options() -> dict[str, str]:
    return settings.DATABASES["default"]["OPTIONS"]
