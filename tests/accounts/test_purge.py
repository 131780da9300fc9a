"""What is kept for a while goes by itself: the task is scheduled, and no old wake-up is ever delivered late."""

from datetime import timedelta

import pytest
from django.conf import settings
from django.utils import timezone

from fleet import tasks
from fleet.accounts.models import Attempt


def test_every_entry_of_the_schedule_expires_within_its_period() -> None:
    entries = settings.CELERY_BEAT_SCHEDULE.values()
    assert [e["task"] for e in entries if not e["options"]["expires"] < e["schedule"]] == []
    assert "fleet.tasks.purge" in [e["task"] for e in entries]


@pytest.mark.django_db
def test_the_task_purges_by_the_real_clock() -> None:
    now = timezone.now()
    for name, age in (("old", timedelta(days=2)), ("new", timedelta(hours=1))):
        Attempt.objects.create(subject=name, failures=1, last_at=now - age, until=now)
    tasks.purge()
    assert list(Attempt.objects.values_list("subject", flat=True)) == ["new"]
