"""What many tests begin with is worked out once in a run: its rows are kept, and put into the tables as they were."""

from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager
from copy import deepcopy
from typing import Any, TypeVar

from django.core.management import call_command
from django.db import connection, transaction

from fleet.accounts.models import User
from fleet.catalog.models import Release
from fleet.portfolio.models import Portfolio
from tests.site_role import as_tables_owner

Made = TypeVar("Made")

_KEPT: dict[Hashable, tuple[dict[str, bytes], Any]] = {}


def once(key: Hashable, make: Callable[[], Made]) -> Made:
    """What `make` makes of an empty database, worked out the first time; on a database with something in it always.

    Ids from sequences are those of the first time: sequences only go on, so nobody else is ever given one of them.
    Nothing may be patched meanwhile that the rows depend on: the next test would find them.
    """
    if any(model.objects.exists() for model in (User, Release, Portfolio)):
        return make()
    if key not in _KEPT:
        before = _filled()
        made = make()
        _KEPT[key] = {table: _read(table) for table in _filled() - before}, deepcopy(made)
        return made
    rows, made = _KEPT[key]
    with transaction.atomic():  # foreign keys are looked at when all rows are there
        for table, content in rows.items():
            _write(table, content)
    return deepcopy(made)


@contextmanager
def made_for_a_file(blocker: Any, make: Callable[[], Made]) -> Iterator[Made]:
    """Give the tests of a file what `make` makes; it is rolled back behind the last of them.

    Foreign keys are looked at here, once: behind each test all would be looked at again, and that rolled back.
    """
    with blocker.unblock(), transaction.atomic():
        made = make()
        connection.check_constraints()
        yield made
        transaction.set_rollback(True)


LARGE = 8_000_000  # bytes of tables and indexes, above which throwing files away is quicker than deleting rows


def empty() -> None:
    """Leave no row, as `flush` does: that one throws the files of all tables away, which takes ten times as long."""
    filled = sorted(_filled())
    with transaction.atomic(), as_tables_owner(), connection.cursor() as cursor:
        cursor.execute("SELECT sum(pg_total_relation_size(t::regclass)) FROM unnest(%s::text[]) AS t", [filled])
        if (cursor.fetchone()[0] or 0) > LARGE:
            call_command("flush", verbosity=0, interactive=False, reset_sequences=False, inhibit_post_migrate=True)
            return
        for table in filled:  # append-only is what the tests are about, not what stands behind them
            cursor.execute(f'ALTER TABLE "{table}" DISABLE TRIGGER USER')
        for table in filled:
            cursor.execute(f'DELETE FROM "{table}"')
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        for table in filled:
            cursor.execute(f'ALTER TABLE "{table}" ENABLE TRIGGER USER')


def _filled() -> set[str]:
    tables = connection.introspection.django_table_names(only_existing=True)
    with connection.cursor() as cursor:
        cursor.execute(" UNION ALL ".join(f"SELECT '{t}' WHERE EXISTS (SELECT FROM \"{t}\")" for t in tables))
        return {table for (table,) in cursor.fetchall()}


def _read(table: str) -> bytes:
    with connection.cursor() as cursor, cursor.copy(f'COPY "{table}" TO STDOUT') as copy:
        return b"".join(bytes(block) for block in copy)


def _write(table: str, content: bytes) -> None:
    with connection.cursor() as cursor, cursor.copy(f'COPY "{table}" FROM STDIN') as copy:
        copy.write(content)
