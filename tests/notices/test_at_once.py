"""Real connections at once: nobody is called twice, and nobody waits for a portfolio in which somebody writes."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import transaction

from fleet import pipeline
from fleet.notices.models import AlertCall, Notice
from fleet.pipeline.portfolio_conditions import lock_pulse
from tests.cast import NOW, Fleet, make_fleet
from tests.notices.reach import KeptChannel, deliver_all, staff
from tests.pipeline.crowd import at_once

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def held(transactional_db: Any) -> Fleet:
    """Committed, so that other connections see it: staffed, and on hold since just now."""
    fleet = make_fleet()
    staff(fleet)
    fleet.post(fleet.flushed(NOW, burner_stopped=False), at=NOW)
    return fleet


def test_eight_sweeps_at_one_moment_call_each_person_once(held: Fleet) -> None:
    later = NOW + timedelta(minutes=30)
    at_once(*[lambda: pipeline.sweep(at=later)] * 8)
    pipeline.sweep(at=later)  # where one passed by a locked portfolio, the next sweep comes
    calls = list(AlertCall.objects.values_list("alert", "user", "round_at"))
    assert len(calls) == len(set(calls))
    assert set(Notice.objects.values_list("user__username", flat=True)) == {"bram", "manager1", "dispatcher1", "owner1"}


def test_eight_workers_at_once_send_each_notice_once(held: Fleet) -> None:
    channels = [KeptChannel() for _ in range(8)]
    at_once(*[lambda channel=channel: deliver_all(channel, NOW) for channel in channels])
    sent = sorted(str(message.id) for channel in channels for _, message in channel.got)
    assert sent == sorted(str(id_) for id_ in Notice.objects.values_list("id", flat=True))


def test_a_sweep_passes_by_a_portfolio_in_which_somebody_writes(held: Fleet) -> None:
    later = NOW + timedelta(minutes=30)
    before = Notice.objects.count()
    with transaction.atomic():
        lock_pulse(held.portfolio.id)
        at_once(lambda: pipeline.sweep_notices(at=later))
        assert Notice.objects.count() == before
    pipeline.sweep_notices(at=later)
    assert Notice.objects.count() > before
