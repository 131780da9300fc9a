"""Thousands of boilers with their facts, copied inside the database; and how much room rows take there."""

from collections.abc import Mapping
from uuid import UUID

from django.db import connection

OLD = "an older build"
# Ids of a copy follow from the original's and the copy's number, so that copied rows point at copied rows.
COPIED = {"id", "boiler_id", "position_id", "device_id", "visit_id", "entry_id", "deficiency"}
PATHS = """CASE WHEN key = 'paths'
    THEN (SELECT jsonb_agg(md5(path || n)::uuid) FROM jsonb_array_elements_text(value) AS path) ELSE value END"""
OF_BOILER = "boiler_id = %(boiler)s"
POSITIONS = f"position_id IN (SELECT id FROM portfolio_position WHERE {OF_BOILER})"
VISITS = f"visit_id IN (SELECT id FROM visits_visit WHERE {OF_BOILER})"
TABLES: tuple[tuple[str, str, Mapping[str, str]], ...] = (
    ("portfolio_boiler", "id = %(boiler)s", {"ref": "ref || '-' || n", "name": "name || ', copy ' || n"}),
    ("portfolio_position", OF_BOILER, {}),
    ("portfolio_device", f"id IN (SELECT device_id FROM portfolio_fitting WHERE {POSITIONS})", {}),
    ("portfolio_fitting", POSITIONS, {}),
    ("portfolio_setting", f"{OF_BOILER} OR {POSITIONS}", {"value": PATHS}),
    ("visits_visit", OF_BOILER, {}),
    ("visits_attendance", VISITS, {}),
    ("visits_entry", VISITS, {}),
    ("visits_reading", f"entry_id IN (SELECT id FROM visits_entry WHERE {VISITS})", {}),
    ("alerts_survey", OF_BOILER, {}),
    ("board_judged", OF_BOILER, {"build": f"'{OLD}'"}),
)
REGISTER = 5  # the first of them are what exists, the others what was done and concluded
READ = tuple((f"board_{name}", OF_BOILER, {}) for name in ("segment", "statesegment", "standingspan", "classspan"))
FACTS = ("visits_visit", "visits_attendance", "visits_entry", "visits_reading")
CONCLUSIONS = (
    "assessments_verdict",
    "assessments_finding",
    "assessments_readiness",
    "deficiencies_deficiency",
    "board_segment",
    "board_statesegment",
    "board_standingspan",
    "board_classspan",
    "board_judged",
    "alerts_alert",
)
LOG = ("assessments_answer", "board_change")


def copy_boiler(boiler: UUID, times: int, *, read: bool = False) -> None:
    """Copy a boiler with its register and visits, as if an older build had judged it: the sweep will judge each copy.

    Its conclusions are not copied: the sweep writes those of every copy anew, the most it can have to write. To be
    `read`, the conclusions are copied instead of the visits.
    """
    with connection.cursor() as cursor:
        for table, which, changed in (*TABLES[:REGISTER], *(READ if read else TABLES[REGISTER:])):
            cursor.execute(
                "SELECT column_name FROM information_schema.columns WHERE table_name = %s ORDER BY ordinal_position",
                [table],
            )
            columns = [name for (name,) in cursor.fetchall()]
            made = [changed.get(c) or (f"md5({c}::text || n)::uuid" if c in COPIED else f'"{c}"') for c in columns]
            names = ", ".join(f'"{c}"' for c in columns)
            cursor.execute(
                f"INSERT INTO {table} ({names}) SELECT {', '.join(made)} "
                f"FROM {table} CROSS JOIN generate_series(1, %(times)s) AS n WHERE {which}",
                {"boiler": boiler, "times": times},
            )
            cursor.execute(f"ANALYZE {table}")  # else the checks of the next table's keys are planned for a few rows


def size(tables: tuple[str, ...]) -> int:
    """How many bytes these tables take with their indexes."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT sum(pg_total_relation_size(name::regclass)) FROM unnest(%s::text[]) AS name", [list(tables)]
        )
        return int(cursor.fetchone()[0])


def packed(tables: tuple[str, ...]) -> None:
    """Write these tables anew, without the room of rows that are gone; outside of any transaction."""
    with connection.cursor() as cursor:
        cursor.execute(f"VACUUM FULL {', '.join(tables)}")
