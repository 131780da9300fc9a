"""What the checks of the models ask: direction of keys, the portfolio on every row, and what the database enforces."""

from collections.abc import Iterable
from itertools import chain

from django.db import connection
from django.db.models import Field, Model

from tests.layout.tree import layers

Rows = type[Model]

# Rooms every row of which belongs to one portfolio. `accounts` is not among them: a user may have grants in several.
OWNED = {"portfolio", "terms", "visits", "assessments", "deficiencies", "jobs", "board", "alerts", "cards"}
OWNERS = {"portfolio.portfolio"}

# Rooms whose tables are evidence: added to, never touched …
EVIDENCE = {"catalog", "portfolio", "terms", "visits"}
# … but for these, by label, with the reason.
NOT_EVIDENCE = {
    "portfolio.portfolio": "register: a name may be mended",
    "portfolio.building": "register: address and access hours may be mended",
    "portfolio.boiler": "register, and the row that is locked",
    "portfolio.headergroup": "register",
    "portfolio.position": "register",
    "portfolio.import": "a sheet handed in: its progress, kept some days",
    "portfolio.importpage": "its report, kept as long",
    "catalog.kind": "a code that rows point at: its name may be mended, it may be retired",
    "catalog.role": "the same",
    "catalog.procedure": "the same",
}


def ranks() -> dict[str, int]:
    """Return each room's place from the top, 0 for the doors; `api` and `fleet` itself stand with them."""
    found = {room: rank for rank, layer in enumerate(layers()) for room in layer}
    return {"api": 0, "fleet": 0, **found}


def own(models: Iterable[Rows]) -> list[Rows]:
    """Return the models that live in a room, third-party ones left out."""
    known = ranks()
    return [model for model in models if model._meta.app_label in known]


def keys(model: Rows) -> list[Field]:
    """Return the model's own links to other tables, many-to-many ones included."""
    local = chain(model._meta.local_fields, model._meta.local_many_to_many)
    return [field for field in local if field.remote_field and field.related_model]


def upward(models: Iterable[Rows]) -> list[str]:
    """Return `room.model.field → room.model` for each key that points up the list of rooms."""
    known = ranks()
    pairs = [(field, field.related_model._meta) for model in own(models) for field in keys(model)]
    return [
        f"{field.model._meta.label_lower}.{field.name} → {target.label_lower}"
        for field, target in pairs
        if known.get(target.app_label, len(known)) < known[field.model._meta.app_label]
    ]


def without_portfolio(models: Iterable[Rows]) -> list[str]:
    """Return the models of the owned rooms that lack a `portfolio_id` that must be filled."""
    owned = [m for m in models if m._meta.app_label in OWNED and m._meta.label_lower not in OWNERS]
    return [model._meta.label_lower for model in owned if not _carries_portfolio(model, filled=True)]


def loose_keys(models: Iterable[Rows]) -> list[str]:
    """Return the keys between two rows of portfolios that no composite foreign key holds to the same portfolio."""
    found = []
    for model in (m for m in own(models) if _carries_portfolio(m)):
        held = composite_keys(model._meta.db_table)
        for field in keys(model):
            if _carries_portfolio(field.related_model):
                wanted = (field.column, field.related_model._meta.db_table)
                found += [] if wanted in held else [f"{model._meta.label_lower}.{field.name}"]
    return found


def evidence(models: Iterable[Rows]) -> list[Rows]:
    """Return the models whose tables are evidence."""
    return [m for m in models if m._meta.app_label in EVIDENCE and m._meta.label_lower not in NOT_EVIDENCE]


def composite_keys(table: str) -> set[tuple[str, str]]:
    """Return (column, target table) of the enforced foreign keys that also tie portfolio_id to the target's."""
    with connection.cursor() as cursor:
        cursor.execute(
            """
            SELECT own.attname, target.relname
            FROM pg_constraint held
            JOIN pg_class target ON target.oid = held.confrelid
            CROSS JOIN LATERAL unnest(held.conkey, held.confkey) AS tied(own, other)
            CROSS JOIN LATERAL unnest(held.conkey) AS also(own)
            JOIN pg_attribute mine ON mine.attrelid = held.conrelid AND mine.attnum = tied.own
            JOIN pg_attribute theirs ON theirs.attrelid = held.confrelid AND theirs.attnum = tied.other
            JOIN pg_attribute own ON own.attrelid = held.conrelid AND own.attnum = also.own
            WHERE held.contype = 'f' AND held.convalidated AND held.conrelid = %s::regclass
              AND mine.attname = 'portfolio_id' AND theirs.attname = 'portfolio_id' AND also.own <> tied.own
            """,
            [f'"{table}"'],
        )
        return {(column, target) for column, target in cursor.fetchall()}


def unguarded(tables: Iterable[str]) -> list[str]:
    """Return the tables where no enabled BEFORE trigger that raises stands against update, or none against delete."""
    return [table for table in tables if _guarded_against(table) != {"update", "delete"}]


def _guarded_against(table: str) -> set[str]:
    # tgtype is a bit field: 2 before, 8 delete, 16 update (PostgreSQL, catalog/pg_trigger.h).
    with connection.cursor() as cursor:
        cursor.execute(
            """
            SELECT guard.tgtype & 16 > 0, guard.tgtype & 8 > 0
            FROM pg_trigger guard JOIN pg_proc called ON called.oid = guard.tgfoid
            WHERE guard.tgrelid = %s::regclass AND NOT guard.tgisinternal AND guard.tgenabled IN ('O', 'A')
              AND guard.tgtype & 2 > 0 AND guard.tgqual IS NULL AND called.prosrc ILIKE '%%raise exception%%'
            """,
            [f'"{table}"'],
        )
        found = cursor.fetchall()
    named = {"update": any(update for update, _ in found), "delete": any(delete for _, delete in found)}
    return {event for event, stands in named.items() if stands}


def _carries_portfolio(model: Rows, *, filled: bool = False) -> bool:
    """Return whether the model has a portfolio_id column, and with `filled` whether it must have a value."""
    found = [field for field in model._meta.concrete_fields if field.column == "portfolio_id"]
    return bool(found) and not (filled and found[0].null)
