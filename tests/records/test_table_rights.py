"""The site's database role reads and adds evidence, acts and log, and can do nothing more to them."""

from typing import Any

import pytest
from django.apps import apps
from django.core.management import CommandError, call_command
from django.db import ProgrammingError, connection, transaction

from fleet.management.embedded.postgres import SITE_ROLE
from fleet.records.table_rights import MIGRATIONS_TABLE, append_only_tables, give_site_rights, never_removed_tables
from tests.layout import tables
from tests.site_role import as_tables_owner

pytestmark = pytest.mark.django_db

LOGS_AND_ACTS = {
    "accounts_installation",
    "accounts_grantrecord",
    "alerts_act",
    "assessments_answer",
    "board_change",
    "cards_cardpost",
    "deficiencies_act",
    "jobs_act",
    "jobs_item",
    "jobs_tenantcall",
    "notices_attempt",
    "notices_calllist",
}
CHANGES = {
    "update": 'UPDATE "{table}" SET {column} = {column}',
    "delete": 'DELETE FROM "{table}"',
    "truncate": 'TRUNCATE "{table}" CASCADE',
    "switch its guard off": 'ALTER TABLE "{table}" DISABLE TRIGGER ALL',
    "drop": 'DROP TABLE "{table}" CASCADE',
    "add a column": 'ALTER TABLE "{table}" ADD COLUMN doubt int',
    "lock readers out": 'LOCK TABLE "{table}"',
}


def is_refused(statement: str) -> bool:
    with connection.cursor() as cursor:
        try:
            with transaction.atomic():
                cursor.execute(statement)
        except ProgrammingError as refusal:
            return type(refusal.__cause__).__name__ == "InsufficientPrivilege"
    return False


def rights_on(table: str) -> set[str]:
    rights = ("SELECT", "INSERT", "UPDATE", "DELETE", "TRUNCATE", "REFERENCES", "TRIGGER")
    with connection.cursor() as cursor:
        cursor.execute("SELECT " + ", ".join(f"has_table_privilege('{table}', '{right}')" for right in rights))
        return {right for right, has_it in zip(rights, cursor.fetchone(), strict=True) if has_it}


def test_tests_act_as_the_role_of_the_site() -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT current_user")
        assert cursor.fetchone() == (SITE_ROLE,)


def test_evidence_acts_and_log_are_the_tables_that_are_only_added_to() -> None:
    evidence = {model._meta.db_table for model in tables.evidence(list(apps.get_models(include_auto_created=True)))}
    assert set(append_only_tables(connection)) == evidence | LOGS_AND_ACTS


def test_what_people_hold_and_were_told_is_never_removed() -> None:
    assert never_removed_tables(connection) == [
        "accounts_absence",
        "accounts_grant",
        "accounts_qualification",
        "cards_card",
        "notices_alertcall",
        "notices_notice",
    ]
    assert is_refused("DELETE FROM accounts_grant")
    assert is_refused("DELETE FROM cards_card")


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES)
def test_the_site_may_not_change_what_is_only_added_to(change: str) -> None:
    names = append_only_tables(connection)
    assert len(names) > 15
    column = {"catalog_release": "digest", "accounts_installation": "kind"}  # they belong to no portfolio
    statements = {name: change.format(table=name, column=column.get(name, "portfolio_id")) for name in names}
    assert [name for name, statement in statements.items() if not is_refused(statement)] == []


def test_the_site_may_read_and_add_everywhere_and_change_and_remove_what_is_no_evidence() -> None:
    rights = {name: {"SELECT", "INSERT"} for name in append_only_tables(connection)}
    rights |= {name: {"SELECT", "INSERT", "UPDATE"} for name in never_removed_tables(connection)}
    for name in set(connection.introspection.table_names()) - {MIGRATIONS_TABLE}:
        assert rights_on(name) == rights.get(name, {"SELECT", "INSERT", "UPDATE", "DELETE"}), name
    assert rights_on(MIGRATIONS_TABLE) == {"SELECT"}


@pytest.mark.parametrize(
    "statement",
    [
        "CREATE TABLE mine (id int)",
        "CREATE FUNCTION mine() RETURNS int LANGUAGE sql AS 'SELECT 1'",
        "CREATE SCHEMA mine",
    ],
)
def test_the_site_makes_nothing_of_its_own_in_the_database(statement: str) -> None:
    assert is_refused(statement)


def test_rights_of_an_earlier_version_are_taken_back() -> None:
    with as_tables_owner():
        with connection.cursor() as cursor:
            cursor.execute(f"GRANT ALL ON visits_entry TO {SITE_ROLE}")
        give_site_rights(connection, SITE_ROLE)
    assert rights_on("visits_entry") == {"SELECT", "INSERT"}


def test_the_owner_of_the_tables_is_no_role_for_the_site() -> None:
    owner = connection.settings_dict["USER"]
    with pytest.raises(CommandError, match="owns the tables"):
        call_command("give_site_rights", owner)


def test_the_command_says_how_many_tables_are_only_added_to(capsys: Any) -> None:
    with as_tables_owner():
        call_command("give_site_rights", SITE_ROLE)
    assert capsys.readouterr().out.endswith(f"{len(append_only_tables(connection))} tables.\n")
