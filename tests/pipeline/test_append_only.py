"""The database itself refuses to change or remove a fact, and to hang a row on another portfolio's."""

import pytest
from django.db import IntegrityError, connection
from django.db.utils import DatabaseError

from fleet.portfolio.models import Boiler, Portfolio, Position
from fleet.visits.models import Visit
from tests.cast import NOW, Fleet
from tests.site_role import as_tables_owner

pytestmark = pytest.mark.django_db

FACTS = [
    "portfolio_device",
    "portfolio_fitting",
    "portfolio_setting",
    "portfolio_servicestate",
    "terms_adoption",
    "visits_visit",
    "visits_attendance",
    "visits_entry",
    "visits_reading",
    "assessments_answer",
    "board_change",
    "catalog_release",
]


@pytest.fixture
def posted(fleet: Fleet) -> Fleet:
    """One boiler with one service."""
    fleet.post(fleet.serviced(NOW))
    return fleet


@pytest.mark.parametrize("table", [t for t in FACTS if t not in ("terms_adoption", "portfolio_servicestate")])
@pytest.mark.parametrize("statement", ["DELETE FROM {}", "UPDATE {0} SET {1} = {1}"])
def test_a_fact_is_neither_changed_nor_removed(posted: Fleet, table: str, statement: str) -> None:
    column = "number" if table == "catalog_release" else "id"
    with (
        pytest.raises(DatabaseError, match="never changed or removed"),
        as_tables_owner(),
        connection.cursor() as cursor,
    ):
        cursor.execute(statement.format(table, column))


def test_a_row_cannot_hang_on_a_boiler_of_another_portfolio(posted: Fleet) -> None:
    other = Portfolio.objects.create(ref="OTHER", name="Other Homes")
    Position.objects.create(portfolio=other, boiler=Boiler.objects.first(), ref="x", name="x", role_id="siphon")
    with pytest.raises(IntegrityError, match="same_portfolio"):
        connection.check_constraints()


def test_the_site_connects_without_superuser_rights(posted: Fleet) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT rolsuper FROM pg_roles WHERE rolname = current_user")
        assert cursor.fetchone() == (False,)
    assert Visit.objects.count() == 1
