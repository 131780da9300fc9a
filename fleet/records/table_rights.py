"""What the site's database role may do with each table.

The tables belong to another role, which runs the migrations and gives these rights afterwards. So the role of web and
worker can neither change evidence, acts and log nor switch off the triggers that guard them.
"""

from collections.abc import Mapping, Sequence

from django.db.backends.base.base import BaseDatabaseWrapper
from psycopg import sql

# Names of the triggers that `base_model.append_only` and `base_model.never_removed` make.
APPEND_ONLY, NEVER_REMOVED = "append_only", "never_removed"
GUARDED_TABLES_QUERY = (
    "SELECT DISTINCT c.relname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid "
    # Named with their schema: who may make functions in `public` could put others in their place.
    "WHERE c.relnamespace = 'public'::pg_catalog.regnamespace "
    "AND pg_catalog.right(t.tgname::pg_catalog.text, pg_catalog.length(%s::pg_catalog.text)) = %s ORDER BY c.relname"
)
OTHER_TABLES_QUERY = (
    "SELECT c.relname FROM pg_class c WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p') "
    "AND NOT c.relname = ANY(%s) ORDER BY c.relname"
)
MIGRATIONS_TABLE = "django_migrations"


def append_only_tables(connection: BaseDatabaseWrapper) -> list[str]:
    """Return the tables whose rows are never changed or removed, by name."""
    return _names_of_tables(connection, GUARDED_TABLES_QUERY, [APPEND_ONLY, APPEND_ONLY])


def never_removed_tables(connection: BaseDatabaseWrapper) -> list[str]:
    """Return the tables whose rows may be changed but never removed, by name."""
    return _names_of_tables(connection, GUARDED_TABLES_QUERY, [NEVER_REMOVED, NEVER_REMOVED])


def _names_of_tables(connection: BaseDatabaseWrapper, query: str, values: Sequence[str | list[str]]) -> list[str]:
    with connection.cursor() as cursor:
        cursor.execute(query, values)
        return [name for (name,) in cursor.fetchall()]


def give_site_rights(connection: BaseDatabaseWrapper, role: str) -> list[str]:
    """Give `role` its rights on all tables, and return the append-only ones.

    `connection` is that of the tables' owner. Rights given earlier are taken back first, in the same transaction.
    """
    append_only, never_removed = append_only_tables(connection), never_removed_tables(connection)
    other_tables = _names_of_tables(connection, OTHER_TABLES_QUERY, [[*append_only, *never_removed, MIGRATIONS_TABLE]])
    rights = {"INSERT": append_only, "INSERT, UPDATE": never_removed, "INSERT, UPDATE, DELETE": other_tables}
    with connection.cursor() as cursor:
        for statement in _rights_statements(role, rights):
            cursor.execute(statement.as_string())
    return append_only


def _rights_statements(role: str, rights: Mapping[str, list[str]]) -> list[sql.Composed]:
    to = sql.Identifier(role)
    statements = [
        sql.SQL("REVOKE CREATE ON SCHEMA public FROM PUBLIC, {}").format(to),
        sql.SQL("REVOKE ALL ON ALL TABLES IN SCHEMA public FROM {}").format(to),
        sql.SQL("GRANT USAGE ON SCHEMA public TO {}").format(to),
        sql.SQL("GRANT USAGE, SELECT ON ALL SEQUENCES IN SCHEMA public TO {}").format(to),
        sql.SQL("GRANT SELECT ON ALL TABLES IN SCHEMA public TO {}").format(to),
    ]
    for words, tables in rights.items():
        if tables:
            names = sql.SQL(", ").join(map(sql.Identifier, tables))
            statements.append(sql.SQL(f"GRANT {words} ON {{}} TO {{}}").format(names, to))
    return statements
