"""Between writing and sending a role or an account may end: who has none there any more is told nothing of it."""

from collections.abc import Callable
from datetime import datetime, timedelta

import pytest

from fleet import pipeline
from fleet.accounts.models import Grant, User
from fleet.jobs.acts import JobDecision
from fleet.notices.models import Notice
from tests.cast import DAY, NOW, Fleet
from tests.notices.reach import KeptChannel, deliver_all, give_address, staff
from tests.stories import story

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


@story
def held(fleet: Fleet) -> None:
    """Staffed, and on hold since just now; nothing was sent yet."""
    staff(fleet)
    fleet.post(fleet.serviced(NOW - 30 * DAY), at=NOW - 30 * DAY)
    fleet.post(fleet.flushed(NOW, burner_stopped=False), at=NOW)


def person(name: str) -> User:
    return User.objects.get(username=name)


def end_role(at: datetime) -> None:
    Grant.objects.filter(user__username="manager1").update(until=at)


def switch_off(_at: datetime) -> None:
    User.objects.filter(username="manager1").update(is_active=False)


@pytest.mark.parametrize("change", [end_role, switch_off])
def test_who_has_no_role_or_account_any_more_is_not_sent_what_was_written_before(
    held: Fleet, change: Callable[[datetime], None]
) -> None:
    change(NOW)
    channel = KeptChannel()
    deliver_all(channel, NOW)
    assert [address for address, _ in channel.got] == ["bram@sorrelgate.example"]
    notice = Notice.objects.get(kind="call", user__username="manager1")
    assert notice.status == "failed"
    assert [row.answer for row in notice.attempts.all()] == ["This person has no role there any more."]


@pytest.mark.parametrize(("ends", "is_sent"), [(-MINUTE, False), (timedelta(0), False), (MINUTE, True)])
def test_a_role_counts_up_to_its_end(held: Fleet, ends: timedelta, is_sent: bool) -> None:
    end_role(NOW + MINUTE + ends)
    channel = KeptChannel()
    deliver_all(channel, NOW + MINUTE)
    assert ("manager1@sorrelgate.example" in {address for address, _ in channel.got}) is is_sent


def test_a_job_taken_from_somebody_whose_role_came_with_it_is_still_told(held: Fleet) -> None:
    rosa, dispatcher = held.technician, person("dispatcher1")
    give_address(rosa)
    asked = pipeline.JobRequest(procedures=[(held.bench().places["limit"], "limit_trip")])
    job = pipeline.create_job(building=held.bench().boiler.building_id, request=asked, by=dispatcher, at=NOW)
    plan = JobDecision("plan", technician=rosa.id, since=NOW + DAY)
    job = pipeline.act_on_job(job=job.id, decision=plan, version=job.version, by=dispatcher, at=NOW)
    cancel = JobDecision("cancel", reason="The owner does it.")
    pipeline.act_on_job(job=job.id, decision=cancel, version=job.version, by=dispatcher, at=NOW + MINUTE)
    Grant.objects.filter(user=rosa).update(until=NOW + MINUTE)
    channel = KeptChannel()
    deliver_all(channel, NOW + MINUTE)
    told = {message.subject.partition(":")[0] for address, message in channel.got if address.startswith("rosa@")}
    assert told == {"No longer yours"}
