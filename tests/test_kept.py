"""A fleet put back from kept rows is the fleet that was made."""

from typing import Any

import pytest
from django.contrib.auth import authenticate
from django.db import connection, transaction
from django.db.utils import DatabaseError

from fleet.accounts.models import User
from fleet.visits.models import Entry
from tests import kept
from tests.cast import NOW, Fleet, conclusions, make_fleet, make_person, standing
from tests.site_role import as_tables_owner


def rows() -> dict[str, list[bytes]]:
    """Every row of every table; in which order a table holds them is the server's affair."""
    return {table: sorted(kept._read(table).splitlines()) for table in kept._filled()}


def failed(fleet: Fleet) -> tuple[Any, str]:
    """What a failed flush leaves."""
    visit = fleet.flushed(NOW, burner_stopped=False)
    fleet.post(visit)
    sentences = [row[-1] for row in conclusions(fleet.bench().boiler.id)["Alert"]]
    return sentences, standing(fleet.bench())


def test_what_is_put_back_is_what_was_made_and_goes_on_alike(db: Any, monkeypatch: Any) -> None:
    monkeypatch.setattr(kept, "_KEPT", {})
    begun = transaction.savepoint()
    made = make_fleet()
    first, after = rows(), failed(made)
    transaction.savepoint_rollback(begun)
    assert len(rows()) < len(first)
    again = make_fleet()
    assert (rows(), again) == (first, made)
    assert failed(again) == after
    assert authenticate(username="rosa", password="oak-valve-2609") == again.technician
    known = {again.technician.pk, again.caretaker.pk, again.outsider.pk}
    assert make_person("nora", again.portfolio, "manager").pk not in known


def test_beside_something_else_a_fleet_is_made_anew(db: Any, monkeypatch: Any) -> None:
    monkeypatch.setattr(kept, "_KEPT", {})
    other = make_person("vera", None, "")
    fleet = make_fleet()
    assert kept._KEPT == {}
    assert {other.pk} < set(User.objects.values_list("pk", flat=True))
    assert authenticate(username="rosa", password="oak-valve-2609") == fleet.technician


@pytest.mark.parametrize("large", [kept.LARGE, 0])
def test_behind_a_test_that_commits_nothing_is_left_and_append_only_is_again(
    transactional_db: Any, monkeypatch: Any, large: int
) -> None:
    monkeypatch.setattr(kept, "LARGE", large)
    for _ in range(2):
        fleet = make_fleet()
        failed(fleet)
        assert len(kept._filled()) > 20
        with pytest.raises(DatabaseError, match="facts are added"), as_tables_owner(), connection.cursor() as cursor:
            cursor.execute(f'DELETE FROM "{Entry._meta.db_table}"')
        kept.empty()
        assert kept._filled() == set()
