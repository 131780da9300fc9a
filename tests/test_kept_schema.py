"""The migrated database is kept for one state of the code, and what is made of it is what migrations make."""

from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection

from tests.kept_schema import digest_of_code


@pytest.fixture
def code(tmp_path: Path) -> Path:
    (tmp_path / "migrations").mkdir()
    (tmp_path / "migrations" / "0001_initial.py").write_text("first")
    return tmp_path


def test_the_same_code_has_the_same_name(code: Path) -> None:
    assert digest_of_code(code) == digest_of_code(code)


@pytest.mark.parametrize(
    ("name", "content"), [("migrations/0001_initial.py", "other"), ("migrations/0002_more.py", ""), ("rows.py", "")]
)
def test_other_code_has_another_name(name: str, content: str, code: Path) -> None:
    before = digest_of_code(code)
    (code / name).write_text(content)
    assert digest_of_code(code) != before


def test_code_that_moved_has_another_name(code: Path) -> None:
    before = digest_of_code(code)
    (code / "migrations" / "0001_initial.py").rename(code / "0001_initial.py")
    assert digest_of_code(code) != before


def test_no_migration_is_left_to_do_and_no_model_without_one(db: Any) -> None:
    call_command("migrate", check_unapplied=True, plan=False, verbosity=0)
    call_command("makemigrations", check_changes=True, dry_run=True, verbosity=0)


@pytest.mark.parametrize("table", ["visits_visit", "visits_entry"])
def test_what_may_only_be_appended_to_is_guarded_in_the_test_database(table: str, db: Any) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM pg_trigger WHERE tgrelid = %s::regclass AND NOT tgisinternal", [table])
        assert cursor.fetchone()[0] > 0
