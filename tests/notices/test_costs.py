"""A pass that writes nothing asks the database the same number of questions, however many alerts are open."""

from datetime import datetime, timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.alerts.models import Alert
from fleet.notices.models import Notice, NoticeChoices
from fleet.pipeline import telling
from tests.cast import NOW, Fleet
from tests.notices.reach import staff
from tests.stories import story

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


@story
def staffed(fleet: Fleet) -> None:
    """Everybody can be reached; the manager wants to be told of everything singly."""
    people = staff(fleet)
    NoticeChoices.objects.create(user=people["manager"], single=True)


def raise_alerts(fleet: Fleet, count: int) -> None:
    """Open so many holds, and as many alerts that do not interrupt, of a boiler and of the portfolio as a whole."""
    boiler = fleet.bench().boiler
    kinds = [("hold", "hold", boiler), ("overdue", "urgent", boiler), ("not_on_record", "urgent", None)]
    for condition, level, subject in kinds:
        for _ in range(count):
            Alert.objects.create(
                portfolio=fleet.portfolio,
                boiler=subject,
                condition=condition,
                subject=uuid4(),
                since=NOW,
                level=level,
                sentence="Raised.",
                raised_at=NOW,
                version=2,
            )


def queries_of_pass(at: datetime) -> int:
    with CaptureQueriesContext(connection) as queries:
        telling.sweep_notices(at=at)
    return len(queries)


def test_a_pass_with_nothing_to_write_costs_the_same_with_more_alerts_open(staffed: Fleet) -> None:
    counts = []
    for count in (2, 20):
        raise_alerts(staffed, count)
        telling.sweep_notices(at=NOW + 40 * MINUTE)  # calls everybody of the list
        written = Notice.objects.count()
        counts.append(queries_of_pass(NOW + 41 * MINUTE))
        assert Notice.objects.count() == written
    assert counts[0] == counts[1]
