"""The base of every row that belongs to a portfolio, and the constraints by which the database enforces it."""

import uuid

from django.db import migrations, models


class Row(models.Model):
    """A row that belongs to a portfolio. Composite foreign keys in the migrations keep `portfolio` consistent."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    portfolio = models.ForeignKey("portfolio.Portfolio", models.PROTECT, related_name="+")

    class Meta:
        abstract = True


def same_portfolio(table: str, column: str, parent: str) -> migrations.RunSQL:
    """Return the migration step that ties (column, portfolio_id) of `table` to (id, portfolio_id) of `parent`.

    `parent` must have been given to `portfolio_key` before.
    """
    name = f"{table}_{column}_same_portfolio"[:63]
    return migrations.RunSQL(
        f"ALTER TABLE {table} ADD CONSTRAINT {name} FOREIGN KEY ({column}, portfolio_id) "
        f"REFERENCES {parent} (id, portfolio_id) DEFERRABLE INITIALLY DEFERRED",
        f"ALTER TABLE {table} DROP CONSTRAINT {name}",
    )


def portfolio_key(table: str) -> migrations.RunSQL:
    """Return the migration step that lets other tables refer to (id, portfolio_id) of `table`."""
    name = f"{table}_portfolio_key"
    return migrations.RunSQL(
        f"ALTER TABLE {table} ADD CONSTRAINT {name} UNIQUE (id, portfolio_id)",
        f"ALTER TABLE {table} DROP CONSTRAINT {name}",
    )


def append_only(table: str) -> migrations.RunSQL:
    """Return the migration step that makes the database refuse to change or remove a fact of `table`."""
    name = f"{table}_append_only"
    return migrations.RunSQL(
        f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        f"RAISE EXCEPTION '% is evidence: facts are added, never changed or removed', TG_TABLE_NAME; END $$;"
        f"CREATE TRIGGER {name} BEFORE UPDATE OR DELETE ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()",
        f"DROP TRIGGER {name} ON {table}; DROP FUNCTION {name}()",
    )


def never_removed(table: str) -> migrations.RunSQL:
    """Return the migration step that makes the database refuse to remove a row of `table`, which may be changed."""
    name = f"{table}_never_removed"
    return migrations.RunSQL(
        f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        f"RAISE EXCEPTION 'A row of % is never removed', TG_TABLE_NAME; END $$;"
        f"CREATE TRIGGER {name} BEFORE DELETE ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()",
        f"DROP TRIGGER {name} ON {table}; DROP FUNCTION {name}()",
    )
