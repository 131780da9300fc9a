"""People of another portfolio are asked: a job stands as asked, a role and a qualification begin with their yes."""

from typing import Any

import pytest

from fleet import pipeline
from fleet.accounts import people
from fleet.accounts.models import Grant, GrantRecord, Qualification, User
from fleet.accounts.people import RoleWish
from fleet.board.models import Change
from fleet.errors import Refused
from fleet.jobs import acts, asked, states
from fleet.jobs.acts import JobDecision
from fleet.jobs.models import Job, JobAct
from fleet.pipeline.sweep import sweep
from fleet.portfolio.models import Portfolio
from fleet.records.events import Cause
from tests.cast import DAY, NOW, Fleet, make_person
from tests.jobs.crew import HOUR, TOMORROW, Crew, crew
from tests.pipeline.asking import answer, code_of, grant, make_job, may_post, qualify

pytestmark = pytest.mark.django_db


@pytest.fixture
def office(fleet: Fleet) -> Crew:
    return crew(fleet)


@pytest.fixture
def guest(fleet: Fleet) -> User:
    """A technician of another portfolio, for whom the installation vouches."""
    return make_person("lena", Portfolio.objects.create(ref="OTHER", name="Other Homes"), "technician", "technician")


@pytest.fixture
def owner(fleet: Fleet) -> User:
    return make_person("otis", fleet.portfolio, "owner")


def test_a_plan_for_somebody_of_another_portfolio_stands_as_asked_and_gives_nothing(office: Crew, guest: User) -> None:
    job = office.plan(make_job(office), to=guest.id)
    guest.refresh_from_db()
    assert job.status == states.ASKED
    assert job.technician_id == guest.id
    assert guest.is_asked is True
    assert may_post(guest, office, NOW) is False
    assert Grant.objects.filter(user=guest, portfolio=job.portfolio_id).count() == 0
    assert JobAct.objects.get(job=job, kind="ask").technician == guest
    assert Change.objects.filter(kind="job.ask").count() == 1


def test_accepted_it_is_theirs_and_the_building_opens_until_the_day_after(office: Crew, guest: User) -> None:
    job = office.plan(make_job(office), to=guest.id)
    answer(guest, "jobs", job.id, accepts=True)
    job.refresh_from_db()
    end = Grant.objects.get(user=guest, portfolio=job.portfolio_id).until
    assert job.status == states.ACCEPTED
    assert guest.is_asked is False
    assert [may_post(guest, office, at) for at in (NOW, end - HOUR / 3600, end)] == [True, True, False]
    assert end == TOMORROW + DAY + 15 * HOUR  # the end of the day after, in New York


def test_declined_with_a_reason_it_goes_back_to_the_desk_and_nothing_has_begun(office: Crew, guest: User) -> None:
    job = office.plan(make_job(office), to=guest.id)
    with pytest.raises(Refused, match="reason"):
        answer(guest, "jobs", job.id, accepts=False)
    answer(guest, "jobs", job.id, accepts=False, reason="In another town that day.")
    job.refresh_from_db()
    assert job.status == states.DECLINED
    assert guest.is_asked is False
    assert may_post(guest, office, NOW + HOUR) is False
    assert asked.requests_of(guest, NOW + HOUR).jobs == []


def test_what_is_asked_holds_nobodys_day_and_a_yes_to_two_at_once_is_refused(office: Crew, guest: User) -> None:
    first, second = make_job(office), office.make(("upper", "slow_drain"))
    for job in (first, second):
        office.plan(job, to=guest.id)
    answer(guest, "jobs", first.id, accepts=True)
    with pytest.raises(Refused) as refused:
        answer(guest, "jobs", second.id, accepts=True)
    assert code_of(refused) == (409, "elsewhere_then")


@pytest.mark.parametrize(("after", "status"), [(-HOUR, states.ASKED), (0 * HOUR, states.MISSED), (HOUR, states.MISSED)])
def test_a_day_that_passes_without_an_answer_is_missed_and_nothing_is_asked_any_more(
    after: Any, status: str, office: Crew, guest: User
) -> None:
    job = office.plan(make_job(office), to=guest.id)
    end = Job.objects.get(id=job.id).ends_at
    assert end
    sweep(at=end + after)
    job.refresh_from_db()
    waits = [one.job for one in asked.requests_of(guest, end + after).jobs]
    assert (job.status, waits) == (status, [job] if status == states.ASKED else [])
    assert asked.note_requests(guest, end + after).jobs == asked.asked_jobs(guest, end + after)
    assert guest.is_asked == bool(waits)


def test_an_alert_says_that_nobody_has_said_yes(office: Crew, guest: User) -> None:
    from fleet.alerts.models import Alert

    job = office.plan(make_job(office), to=guest.id)
    sweep(at=TOMORROW - HOUR)
    assert Alert.objects.filter(condition="job_not_accepted", subject=job.id).count() == 1


@pytest.mark.parametrize("kind", ["jobs", "roles", "qualifications"])
def test_nobody_answers_for_somebody_else(kind: str, office: Crew, guest: User, owner: User, fleet: Fleet) -> None:
    subjects = {
        "jobs": office.plan(make_job(office), to=guest.id).id,
        "roles": grant(owner, fleet, guest).id,
        "qualifications": qualify(owner, fleet, guest).id,
    }
    with pytest.raises(Refused) as refused:
        answer(office.rosa, kind, subjects[kind], accepts=True)
    assert code_of(refused) == (404, "unknown")


@pytest.mark.parametrize(
    ("kind", "subject"),
    [("jobs", "nonsense"), ("roles", "7"), ("qualifications", "7" * 30), ("qualifications", "x"), ("visits", "1")],
)
def test_an_answer_to_nothing_is_not_found(kind: str, subject: str, guest: User) -> None:
    with pytest.raises(Refused) as refused:
        answer(guest, kind, subject, accepts=True)
    assert code_of(refused) == (404, "unknown")


def test_a_role_begins_with_the_yes_and_its_history_says_who_asked_and_who_answered(
    office: Crew, guest: User, owner: User, fleet: Fleet
) -> None:
    row = grant(owner, fleet, guest)
    assert row.waits_since == NOW
    assert may_post(guest, office, NOW) is False
    answer(guest, "roles", row.id, accepts=True)
    assert may_post(guest, office, NOW + HOUR)
    kinds = GrantRecord.objects.filter(grant=row).order_by("at").values_list("kind", "by__username")
    assert list(kinds) == [("asked", "otis"), ("accepted", "lena")]
    with pytest.raises(Refused):
        answer(guest, "roles", row.id, accepts=False)


def test_a_declined_role_never_begins_and_can_be_asked_again(
    office: Crew, guest: User, owner: User, fleet: Fleet
) -> None:
    row = grant(owner, fleet, guest)
    answer(guest, "roles", row.id, accepts=False)
    assert not may_post(guest, office, NOW + HOUR)
    again = grant(owner, fleet, guest, at=NOW + DAY)
    assert (again.id, again.waits_since) == (row.id, NOW + DAY)
    answer(guest, "roles", again.id, accepts=True, at=NOW + DAY + HOUR)
    assert may_post(guest, office, NOW + DAY + HOUR)


def test_what_is_asked_can_be_taken_back(office: Crew, guest: User, owner: User, fleet: Fleet) -> None:
    row = grant(owner, fleet, guest)
    pipeline.end_role(grant=row, by=owner, at=NOW + HOUR, cause=Cause(who="otis"))
    assert not asked.note_requests(guest, NOW + HOUR)
    with pytest.raises(Refused):
        answer(guest, "roles", row.id, accepts=True, at=NOW + 2 * HOUR)


def test_who_belongs_here_is_given_a_role_at_once_and_so_is_a_new_person(owner: User, fleet: Fleet) -> None:
    assert grant(owner, fleet, fleet.technician, "dispatcher").waits_since is None
    new = pipeline.grant_role(
        portfolio=fleet.portfolio.id,
        user=None,
        new=("mira", "Mira Castell"),
        wish=RoleWish("caretaker"),
        by=owner,
        at=NOW,
        cause=Cause(who="otis"),
    )
    assert new.waits_since is None
    assert new.user.is_asked is False


def test_a_qualification_counts_with_the_yes(guest: User, owner: User, fleet: Fleet) -> None:
    row = qualify(owner, fleet, guest)
    assert "fire_side" not in people.qualification_codes_at(fleet.portfolio.id, guest.id, NOW)
    answer(guest, "qualifications", row.id, accepts=True)
    assert "fire_side" in people.qualification_codes_at(fleet.portfolio.id, guest.id, NOW)
    kinds = Change.objects.filter(kind__startswith="people.").order_by("at", "id").values_list("kind", flat=True)
    assert list(kinds) == ["people.asked", "people.qualified"]


def test_a_declined_qualification_never_counts(guest: User, owner: User, fleet: Fleet) -> None:
    row = qualify(owner, fleet, guest)
    answer(guest, "qualifications", row.id, accepts=False)
    assert "fire_side" not in people.qualification_codes_at(fleet.portfolio.id, guest.id, NOW + DAY)
    assert not guest.is_asked


def two_people_job(office: Crew, guest: User) -> Job:
    job = make_job(office)
    Job.objects.filter(id=job.id).update(people=2)
    return office.plan(job, second=guest.id)


def test_the_second_person_of_another_portfolio_is_asked_too(office: Crew, guest: User) -> None:
    job = two_people_job(office, guest)
    guest.refresh_from_db()
    (waiting,) = asked.requests_of(guest, NOW).jobs
    assert job.status == states.PLANNED
    assert guest.is_asked is True
    assert waiting.job == job
    assert may_post(guest, office, NOW) is False
    answer(guest, "jobs", job.id, accepts=True)
    assert may_post(guest, office, NOW + HOUR) is True
    assert guest.is_asked is False
    office.act(job, "accept", at=NOW + 2 * HOUR)
    assert may_post(guest, office, NOW + 2 * HOUR)


def test_a_second_person_who_cannot_come_sends_the_job_back(office: Crew, guest: User) -> None:
    job = two_people_job(office, guest)
    answer(guest, "jobs", job.id, accepts=False, reason="No.")
    job.refresh_from_db()
    assert job.status == states.DECLINED
    assert guest.is_asked is False
    assert may_post(guest, office, NOW + HOUR) is False


def test_one_yes_of_a_second_is_for_one_plan(office: Crew, guest: User) -> None:
    job = two_people_job(office, guest)
    answer(guest, "jobs", job.id, accepts=True)
    office.plan(job, TOMORROW + 90 * DAY, second=guest.id, at=NOW + 2 * HOUR)
    (waiting,) = asked.requests_of(guest, NOW + 2 * HOUR).jobs
    assert waiting.job == job
    assert waiting.as_second is True
    assert may_post(guest, office, NOW + 3 * DAY) is False


def test_a_second_who_has_not_said_yes_holds_nobodys_day_and_is_no_contact(office: Crew, guest: User) -> None:
    from fleet.jobs import contacts, queries

    job = two_people_job(office, guest)
    other = office.make(("upper", "slow_drain"))
    decision = JobDecision("plan", technician=guest.id, since=TOMORROW)
    assert acts.fields_of_busy_people(other, decision, NOW) == []
    details = queries.job_details(queries.with_details(Job.objects.filter(id=job.id)), NOW)
    names = {contact.user.username for contact in contacts.building_contacts(job.building, [], details, NOW)}
    assert "lena" not in names
    answer(guest, "jobs", job.id, accepts=True)
    assert acts.fields_of_busy_people(other, decision, NOW) == ["to"]


@pytest.mark.parametrize("ending", ["proven", "missed"])
def test_a_job_that_ended_without_a_yes_opens_nothing_for_the_next(ending: str, office: Crew, guest: User) -> None:
    job = office.plan(make_job(office), TOMORROW, to=guest.id)
    at = NOW + HOUR
    if ending == "missed":
        assert job.ends_at
        at = job.ends_at + HOUR
        sweep(at=at)
    else:
        office.fleet.post(office.fleet.serviced(NOW + HOUR / 2), at=at)
    assert Job.objects.get(id=job.id).status == ending
    following = office.make(("upper", "slow_drain"), at=at)
    assert office.plan(following, at + 2 * DAY, to=guest.id, at=at).status == states.ASKED
    assert not may_post(guest, office, at)


def test_a_yes_to_a_job_is_none_to_a_role_that_waits(office: Crew, guest: User, owner: User, fleet: Fleet) -> None:
    building = office.fleet.bench().boiler.building_id
    role = grant(owner, fleet, guest, building=building)
    job = office.plan(make_job(office), to=guest.id)
    answer(guest, "jobs", job.id, accepts=True)
    role.refresh_from_db()
    assert role.waits_since == NOW
    assert may_post(guest, office, NOW + DAY) is True
    assert may_post(guest, office, NOW + 60 * DAY) is False
    answer(guest, "roles", role.id, accepts=False)
    assert may_post(guest, office, NOW + DAY) is True
    assert grant(owner, fleet, guest, "owner").waits_since == NOW


def test_an_accepted_role_outlives_the_job_that_was_cancelled(
    office: Crew, guest: User, owner: User, fleet: Fleet
) -> None:
    job = office.plan(make_job(office), to=guest.id)
    answer(guest, "jobs", job.id, accepts=True)
    role = grant(owner, fleet, guest, building=job.building_id)
    answer(guest, "roles", role.id, accepts=True)
    office.act(job, "cancel", reason="Not needed.", at=NOW + 2 * HOUR)
    assert may_post(guest, office, NOW + 60 * DAY)


def test_a_plan_beyond_the_end_of_a_role_is_asked(office: Crew, guest: User) -> None:
    Grant.objects.create(user=guest, portfolio=office.fleet.portfolio, role="technician", until=NOW + DAY)
    assert office.plan(make_job(office), NOW + 30 * DAY, to=guest.id).status == states.ASKED


def test_a_qualification_that_counts_goes_on_when_its_person_has_left(guest: User, owner: User, fleet: Fleet) -> None:
    row = qualify(owner, fleet, guest)
    answer(guest, "qualifications", row.id, accepts=True)
    again = qualify(owner, fleet, guest, until=NOW + 300 * DAY)
    assert again.id == row.id
    assert again.waits_since is None
    assert again.until == NOW + 300 * DAY
    with pytest.raises(Refused) as refused:
        qualify(owner, fleet, guest, until=NOW + 400 * DAY)
    assert code_of(refused) == (409, "not_asked")


def test_a_yes_by_somebody_whose_qualification_ended_meanwhile_is_refused(office: Crew, guest: User) -> None:
    job = office.plan(make_job(office), to=guest.id)
    Qualification.objects.filter(user=guest).update(until=NOW)
    with pytest.raises(Refused) as refused:
        answer(guest, "jobs", job.id, accepts=True)
    assert code_of(refused)[0] == 422


def test_who_came_once_is_asked_again_for_the_next_job(office: Crew, guest: User) -> None:
    first = office.plan(make_job(office), to=guest.id)
    answer(guest, "jobs", first.id, accepts=True)
    second = office.make(("upper", "slow_drain"))
    assert office.plan(second, TOMORROW + 3 * HOUR, to=guest.id, at=NOW + 2 * HOUR).status == states.ASKED


def test_the_desk_plans_somebody_else_instead_of_waiting(office: Crew, guest: User) -> None:
    job = office.plan(make_job(office), to=guest.id)
    assert office.plan(job).status == states.PLANNED
    with pytest.raises(Refused) as refused:
        answer(guest, "jobs", job.id, accepts=True)
    assert code_of(refused) == (404, "unknown")


def test_a_start_before_the_yes_is_refused(office: Crew, guest: User) -> None:
    job = office.plan(make_job(office), to=guest.id)
    with pytest.raises(Refused) as refused:
        pipeline.act_on_job(job=job.id, decision=JobDecision("start"), version=job.version, by=guest, at=TOMORROW)
    assert code_of(refused) == (409, "not_now")


def test_grants_from_before_stay(office: Crew, guest: User) -> None:
    Grant.objects.create(user=guest, portfolio=office.fleet.portfolio, role="technician")
    assert office.plan(make_job(office), to=guest.id).status == states.PLANNED
