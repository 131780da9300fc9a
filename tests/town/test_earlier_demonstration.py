"""A demonstration that an earlier version made goes on: its key is made, and its people can be told."""

from datetime import timedelta

import pytest
from django.conf import settings

from fleet.accounts import installation, keys
from fleet.accounts.models import Grant, User
from fleet.management.demo import cast, story
from fleet.notices.models import Destination, Notice
from fleet.portfolio.models import Portfolio
from tests.cast import NOW

pytestmark = pytest.mark.django_db
SHEET = settings.ROOT / "fixtures" / "demo" / "register.csv"


def test_its_people_get_the_key_and_addresses_that_are_missing_and_nothing_twice() -> None:
    installation.note_kind(installation.DEMONSTRATION, NOW)  # its key opens nothing elsewhere
    old = Portfolio.objects.create(id=story.PORTFOLIO_ID, ref="OLDER", name="Older Homes")
    for name, role in (("rosa", "technician"), ("ines", "manager")):
        Grant.objects.create(user=User.objects.create_user(name), portfolio=old, role=role)
    for later in (timedelta(0), timedelta(days=1)):
        assert story.make(SHEET, NOW + later) == old
    owner = keys.key_owner(cast.FIELD_KEY, NOW)
    assert owner is not None
    assert owner.username == "rosa"
    assert sorted(Destination.objects.values_list("address", flat=True)) == ["ines@older.example", "rosa@older.example"]
    assert not Notice.objects.exists()
