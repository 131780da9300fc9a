"""What comes singly for who wants it so; and job slips: planned, changed, taken away, and the evening before."""

from datetime import UTC, datetime, time, timedelta
from uuid import uuid4

import pytest

from fleet import pipeline
from fleet.accounts.models import User
from fleet.alerts.models import Alert
from fleet.jobs.acts import JobDecision
from fleet.jobs.models import Job
from fleet.notices.models import Notice, NoticeChoices
from fleet.pipeline import telling
from fleet.portfolio.models import Building
from tests.cast import DAY, NOW, Fleet, make_person
from tests.notices.reach import give_address, staff, told
from tests.stories import story

pytestmark = pytest.mark.django_db
HOUR, SECOND = timedelta(hours=1), timedelta(seconds=1)
EVENING = datetime(2026, 1, 12, 23, 0, tzinfo=UTC)  # six in the evening at the boilers


@story
def staffed(fleet: Fleet) -> None:
    """Serviced a month ago; manager, dispatcher, owner, caretaker and technician can be reached."""
    staff(fleet)
    give_address(fleet.technician)
    give_address(make_person("nora", fleet.portfolio, "technician", "technician"))
    fleet.post(fleet.serviced(NOW - 30 * DAY), at=NOW - 30 * DAY)


def person(name: str) -> User:
    return User.objects.get(username=name)


def plan(fleet: Fleet, who: str, since: datetime, at: datetime = NOW, job: Job | None = None) -> Job:
    dispatcher = person("dispatcher1")
    if job is None:
        asked = pipeline.JobRequest(procedures=[(fleet.bench().places["limit"], "limit_trip")])
        job = pipeline.create_job(building=fleet.bench().boiler.building_id, request=asked, by=dispatcher, at=at)
    decision = JobDecision("plan", technician=person(who).id, since=since)
    return pipeline.act_on_job(job=job.id, decision=decision, version=job.version, by=dispatcher, at=at)


def slips() -> list[tuple[str, str]]:
    rows = Notice.objects.filter(kind="slip").order_by("created_at", "user__username")
    return [(row.user.username, row.subject.partition(":")[0]) for row in rows]


def test_a_planned_job_reaches_its_technician_at_once(staffed: Fleet) -> None:
    plan(staffed, "rosa", NOW + DAY)
    assert slips() == [("rosa", "Planned for you")]
    text = Notice.objects.get(kind="slip").text
    assert "12 Alder Terrace" in text
    assert "Tue 13 Jan 2026, 09:00" in text


def test_the_same_plan_twice_is_told_once_and_another_time_is_a_change(staffed: Fleet) -> None:
    job = plan(staffed, "rosa", NOW + DAY)
    job = plan(staffed, "rosa", NOW + DAY, NOW + HOUR, job)
    assert slips() == [("rosa", "Planned for you")]
    plan(staffed, "rosa", NOW + 2 * DAY, NOW + 2 * HOUR, job)
    assert slips() == [("rosa", "Planned for you"), ("rosa", "Changed")]


def test_a_job_given_to_another_is_told_to_both(staffed: Fleet) -> None:
    job = plan(staffed, "rosa", NOW + DAY)
    plan(staffed, "nora", NOW + DAY, NOW + HOUR, job)
    assert slips() == [("rosa", "Planned for you"), ("nora", "Planned for you"), ("rosa", "No longer yours")]


def test_a_cancelled_job_is_told_once(staffed: Fleet) -> None:
    job = plan(staffed, "rosa", NOW + DAY)
    cancel = JobDecision("cancel", reason="The owner does it.")
    pipeline.act_on_job(job=job.id, decision=cancel, version=job.version, by=person("dispatcher1"), at=NOW + HOUR)
    pipeline.sweep(at=NOW + 2 * HOUR)
    assert slips() == [("rosa", "Planned for you"), ("rosa", "No longer yours")]


@pytest.mark.parametrize(("at", "count"), [(EVENING - SECOND, 0), (EVENING, 1), (EVENING + HOUR, 1)])
def test_the_evening_before_everything_of_the_next_day_is_told_once(staffed: Fleet, at: datetime, count: int) -> None:
    plan(staffed, "rosa", NOW + DAY)
    pipeline.sweep(at=at)
    pipeline.sweep(at=at)
    evening = Notice.objects.filter(kind="evening")
    assert [row.user.username for row in evening] == ["rosa"] * count
    assert all(row.subject == "Tue 13 Jan 2026: 1 job, the first at 09:00, 12 Alder Terrace" for row in evening)


def test_jobs_in_two_zones_are_each_told_in_the_evening_of_their_own_place(staffed: Fleet) -> None:
    plan(staffed, "rosa", NOW + DAY)
    house = Building.objects.create(
        portfolio=staffed.portfolio, ref="WEST", address="1 West Quay", zone="America/Los_Angeles"
    )
    west = Job.objects.get(building=staffed.bench().boiler.building_id)
    west.id, west.building, west.planned_since = uuid4(), house, NOW + DAY + 6 * HOUR
    west.planned_until = west.planned_since + HOUR
    west.save(force_insert=True)
    for hour in range(6):
        telling.sweep_notices(at=EVENING + hour * HOUR)
    evening = Notice.objects.filter(kind="evening").order_by("created_at")
    assert [(row.created_at, "1 West Quay" in row.text) for row in evening] == [
        (EVENING, False),
        (EVENING + 3 * HOUR, True),
    ]


# Just after midnight of the next day, and just before the midnight after it.
@pytest.mark.parametrize(
    ("starts", "count"), [(6 * HOUR - SECOND, 0), (6 * HOUR, 1), (30 * HOUR - SECOND, 1), (30 * HOUR, 0)]
)
def test_the_evening_tells_of_the_whole_next_day_and_of_no_other(staffed: Fleet, starts: timedelta, count: int) -> None:
    job = plan(staffed, "rosa", NOW + DAY)
    since = EVENING + starts
    Job.objects.filter(id=job.id).update(planned_since=since, planned_until=since + HOUR)
    telling.sweep_notices(at=EVENING)
    assert Notice.objects.filter(kind="evening").count() == count


def test_an_evening_slip_held_back_until_the_morning_still_says_the_right_day(staffed: Fleet) -> None:
    NoticeChoices.objects.create(user=staffed.technician, quiet_from=time(17), quiet_until=time(7))
    plan(staffed, "rosa", NOW + DAY)
    telling.sweep_notices(at=EVENING)
    notice = Notice.objects.get(kind="evening")
    assert notice.due_at == EVENING + 13 * HOUR
    assert notice.subject == "Tue 13 Jan 2026: 1 job, the first at 09:00, 12 Alder Terrace"


def test_a_slip_waits_for_the_end_of_the_quiet_hours(staffed: Fleet) -> None:
    NoticeChoices.objects.create(user=staffed.technician, quiet_from=time(8), quiet_until=time(12))
    plan(staffed, "rosa", NOW + DAY)  # planned at nine in the morning
    assert Notice.objects.get(kind="slip").due_at == NOW + 3 * HOUR


def routine(at: datetime) -> Alert:
    """An alert of a lapsed test, raised by time alone."""
    pipeline.sweep(at=at)
    found = Alert.objects.filter(level="urgent", until=None).exclude(condition__in=("nobody_to_tell",)).first()
    assert found is not None
    return found


@pytest.mark.parametrize("single", [True, False])
def test_what_does_not_interrupt_comes_singly_only_to_who_wants_it_so(staffed: Fleet, single: bool) -> None:
    NoticeChoices.objects.create(user=person("manager1"), single=single)
    routine(NOW + 20 * DAY)
    assert {name for name, _ in told("single")} == ({"manager1"} if single else set())


def test_a_single_notice_can_be_stopped_and_says_how(staffed: Fleet) -> None:
    NoticeChoices.objects.create(user=person("manager1"), single=True)
    routine(NOW + 20 * DAY)
    notice = Notice.objects.filter(kind="single").first()
    assert notice is not None
    assert not notice.is_danger
    assert "/notices/stop/" in notice.text


def test_the_end_of_what_came_singly_is_told_to_the_same_person(staffed: Fleet) -> None:
    NoticeChoices.objects.create(user=person("manager1"), single=True)
    routine(NOW + 20 * DAY)
    later = NOW + 20 * DAY + HOUR
    staffed.post(staffed.serviced(later), at=later + HOUR)
    assert {name for name, _ in told("returned")} == {"manager1"}
