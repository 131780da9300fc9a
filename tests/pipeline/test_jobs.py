"""A job from its making to its proof: planned, accepted, started, settled by a visit; missed; nobody in two places."""

from dataclasses import replace
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.db.utils import DatabaseError

from fleet import pipeline
from fleet.accounts import policy
from fleet.accounts.models import Grant
from fleet.alerts.models import Alert
from fleet.alerts.queries import alerts_of
from fleet.board.models import Change
from fleet.deficiencies.models import Deficiency
from fleet.errors import Refused
from fleet.jobs import states
from fleet.jobs.models import Access, Job
from fleet.portfolio.models import Boiler, Building, Portfolio
from fleet.visits.incoming import IncomingEntry
from tests import kept
from tests.cast import DAY, NOW, make_fleet, make_person
from tests.jobs.crew import HOUR, TOMORROW, Crew, crew, held
from tests.site_role import as_tables_owner

pytestmark = pytest.mark.django_db


def with_a_job() -> tuple[Crew, Job]:
    office = crew(make_fleet())
    return office, office.make(deficiencies=[held(office.fleet).id])


@pytest.fixture
def begun(db: Any) -> tuple[Crew, Job]:
    return kept.once("a job for a hold", with_a_job)


@pytest.fixture
def office(request: pytest.FixtureRequest) -> Crew:
    """The crew; beside a job, the one that made it."""
    with_job = "job" in request.fixturenames
    return request.getfixturevalue("begun")[0] if with_job else crew(request.getfixturevalue("fleet"))


@pytest.fixture
def job(begun: tuple[Crew, Job]) -> Job:
    """Asks for the hold of a failed flush to be put right."""
    return begun[1]


def status(job: Job) -> str:
    job.refresh_from_db()
    return job.status


def told(refused: pytest.ExceptionInfo[Refused]) -> tuple[int, list[tuple[str, Any]]]:
    return refused.value.status, [(f.code, f.at) for f in refused.value.faults]


def test_from_the_making_to_the_proof(office: Crew, job: Job) -> None:
    seen = [job.status]
    for step in (office.plan(job), office.act(job, "accept"), office.act(job, "start", at=TOMORROW)):
        seen.append(step.status)
    visit = office.fleet.repaired(TOMORROW + HOUR)
    office.fleet.post(visit, at=TOMORROW + 2 * HOUR)
    assert [*seen, status(job)] == ["to_plan", "planned", "accepted", "started", "proven"]
    assert (job.visit_id, job.settled["0"]["how"]) == (visit.id, "closed")


def test_every_step_is_in_the_feed_with_who_and_why(office: Crew, job: Job) -> None:
    office.plan(job)
    office.act(job, "decline", reason="In hospital that day.")
    found = Change.objects.filter(kind__startswith="job.").order_by("version", "number")
    assert [(c.kind, c.who, c.before, c.after) for c in found] == [
        ("job.created", "dana", "", "to_plan"),
        ("job.plan", "dana", "to_plan", "planned"),
        ("job.decline", "rosa", "planned", "declined"),
    ]
    assert (found[2].reason, found[2].request_id) == ("In hospital that day.", "desk-00001")


def test_a_visit_that_leaves_something_open_brings_the_job_back(office: Crew, job: Job) -> None:
    office.started(job)
    office.fleet.post(office.fleet.flushed(TOMORROW + HOUR, burner_stopped=False), at=TOMORROW + HOUR)
    assert (status(job), job.settled) == ("back", {})
    office.plan(job, TOMORROW + DAY, at=TOMORROW + 2 * HOUR)
    assert status(job) == "planned"


def test_a_visit_about_something_else_leaves_it_started(office: Crew, job: Job) -> None:
    office.started(job)
    bench = office.fleet.bench()
    entry = bench.test_entry(TOMORROW + HOUR, "limit_trip", "limit", "fail")
    office.fleet.post(office.fleet.visit(TOMORROW + HOUR, [entry]), at=TOMORROW + HOUR)
    assert status(job) == "started"


def test_a_visit_before_the_start_does_not_bring_it_back(office: Crew, job: Job) -> None:
    office.started(job)
    office.fleet.post(office.fleet.flushed(TOMORROW - HOUR, burner_stopped=False), at=TOMORROW + HOUR)
    assert status(job) == "started"


@pytest.mark.parametrize("start", [False, True])
def test_proof_by_anybody_at_any_time_settles_it(start: bool, office: Crew, job: Job) -> None:
    if start:
        office.started(job)
    office.fleet.post(office.fleet.repaired(NOW + HOUR), at=TOMORROW + HOUR)
    assert status(job) == "proven"


def test_two_boilers_are_left_by_two_visits(office: Crew) -> None:
    one, two = (office.fleet.bench(f"ALD12 B{n}") for n in (1, 2))
    asked = pipeline.JobRequest(procedures=[(one.places["limit"], "limit_trip"), (two.places["limit"], "limit_trip")])
    job = pipeline.create_job(building=one.boiler.building_id, request=asked, by=office.dispatcher, at=NOW)
    office.started(job)
    for bench, expected in ((one, "started"), (two, "back")):
        entry = bench.test_entry(TOMORROW + HOUR, "limit_trip", "limit", "fail")
        key = f"ALD12 {bench.boiler.ref}"
        office.fleet.post(office.fleet.visit(TOMORROW + HOUR, [entry], key), at=TOMORROW + 2 * HOUR)
        assert status(job) == expected


def test_a_pass_counts_only_from_somebody_who_may(office: Crew) -> None:
    job = office.make(("upper", "slow_drain"))
    bench, readings = office.fleet.bench(), {"burner_firing": True, "burner_stopped": True, "trip_in": 2.5}
    entry = bench.test_entry(NOW + HOUR, "slow_drain", "upper", **readings)
    caretaker = office.fleet.caretaker.id
    office.fleet.post(bench.compose_visit("routine_check", NOW + HOUR, [caretaker], [entry]), at=NOW + HOUR)
    assert status(job) == "to_plan"
    again = bench.test_entry(NOW + 2 * HOUR, "slow_drain", "upper", **readings)
    office.fleet.post(office.fleet.visit(NOW + 2 * HOUR, [again]), at=NOW + 2 * HOUR)
    assert status(job) == "proven"


def test_a_pass_known_when_it_was_asked_does_not_answer_it(office: Crew) -> None:
    office.fleet.post(office.fleet.serviced(NOW - DAY), at=NOW - DAY)
    assert status(office.make(("upper", "slow_drain"))) == "to_plan"


def test_a_correction_opens_it_again_and_takes_its_need_away(office: Crew, job: Job) -> None:
    visit = office.fleet.repaired(NOW + HOUR)
    office.fleet.post(visit, at=NOW + HOUR)
    void = replace(visit, id=uuid4(), corrects=visit.id, reason="another house", void=True, entries=())
    office.fleet.post(void, at=NOW + 2 * HOUR)
    office.fleet.second(void, at=NOW + 2 * HOUR)
    assert status(job) == "to_plan"


def test_a_cause_that_a_correction_takes_away_needs_no_job(office: Crew) -> None:
    fleet = office.fleet
    fleet.post(fleet.serviced(NOW - 30 * DAY), at=NOW - 30 * DAY)
    wrong = fleet.flushed(NOW - HOUR, burner_stopped=False)
    fleet.post(wrong, at=NOW - HOUR)
    job = office.make(deficiencies=[Deficiency.objects.get(rule="flush_keeps_firing").id])
    void = replace(wrong, id=uuid4(), corrects=wrong.id, reason="another house", void=True, entries=())
    fleet.post(void, at=NOW + HOUR)
    assert status(job) == "to_plan"  # out of a hold it waits for a second name
    fleet.second(void, at=NOW + HOUR)
    assert status(job) == "not_needed"


@pytest.mark.parametrize("late", [False, True])
def test_the_order_of_posting_does_not_matter(late: bool, office: Crew, job: Job) -> None:
    office.started(job)
    visits = [office.fleet.flushed(TOMORROW + HOUR, burner_stopped=False), office.fleet.repaired(TOMORROW + 2 * HOUR)]
    for visit in reversed(visits) if late else visits:
        office.fleet.post(visit, at=TOMORROW + 4 * HOUR)
    assert (status(job), job.visit_id) == ("proven", visits[1].id)


def test_a_job_that_cannot_be_brought_on_stops_nobody(
    office: Crew, job: Job, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    other = office.make(("limit", "limit_trip"))
    for one in (job, other):
        one.refresh_from_db()
        office.plan(one, TOMORROW + (HOUR * 4 if one == other else 0 * HOUR))
    keep = pipeline.jobs.services.update_jobs

    def poisoned(rows: Any, at: Any) -> Any:
        if [r.id for r in rows] == [job.id]:
            raise ZeroDivisionError
        return keep(rows, at)

    monkeypatch.setattr(pipeline.jobs.services, "update_jobs", poisoned)
    assert pipeline.jobs.sweep_jobs(at=TOMORROW + DAY, limit=10) == 1
    assert (status(job), status(other)) == ("planned", "missed")
    assert f"job {job.id} could not be brought on" in caplog.text


def test_who_sees_one_building_sees_the_alerts_of_its_jobs(office: Crew, job: Job) -> None:
    pipeline.sweep(at=NOW + 5 * HOUR)
    boilers = Boiler.objects.filter(id=office.fleet.bench().boiler.id)
    seen = alerts_of(Alert.objects.filter(condition="job_not_planned"), boilers, Portfolio.objects.none())
    assert [a.subject for a in seen] == [job.id]
    assert list(alerts_of(Alert.objects.filter(subject=job.id), Boiler.objects.none(), Portfolio.objects.none())) == []


@pytest.mark.parametrize("acts", [["plan"], ["plan", "accept"], ["plan", "accept", "start"]])
def test_a_job_past_its_day_comes_back(acts: list[str], office: Crew, job: Job) -> None:
    office.plan(job)
    for kind in acts[1:]:
        office.act(job, kind, at=TOMORROW)
    ends = Job.objects.get(id=job.id).ends_at
    assert ends is not None
    pipeline.sweep(at=ends - HOUR / 3600)
    assert status(job) != "missed"
    pipeline.sweep(at=ends)
    assert (status(job), job.status_since) == ("missed", ends)


def test_a_sweep_days_late_leaves_the_same_alerts(office: Crew, job: Job) -> None:
    office.plan(job)
    job.refresh_from_db()
    pipeline.sweep(at=NOW + 5 * DAY)
    found = Alert.objects.filter(subject=job.id).order_by("since", "condition")
    assert [(a.condition, a.since, a.until) for a in found] == [
        ("job_not_accepted", NOW + 9 * HOUR, job.ends_at),
        ("job_past_day", job.ends_at, None),
        ("job_not_planned", job.ends_at + 4 * HOUR, None),
    ]


@pytest.mark.parametrize(("minutes", "raised"), [(239, 0), (240, 1), (241, 1)])
def test_not_planned_is_told_after_the_lead_of_its_class(minutes: int, raised: int, office: Crew, job: Job) -> None:
    pipeline.sweep(at=NOW + minutes * HOUR / 60)
    assert Alert.objects.filter(condition="job_not_planned", until=None).count() == raised


def test_an_alert_returns_to_normal_with_the_act_that_ends_it(office: Crew, job: Job) -> None:
    pipeline.sweep(at=NOW + 5 * HOUR)
    office.plan(job, at=NOW + 6 * HOUR)
    alert = Alert.objects.get(condition="job_not_planned")
    assert (alert.until, alert.status) == (NOW + 6 * HOUR, "returned")


def test_a_rebuild_writes_nothing_and_repairs_what_was_spoilt(office: Crew, job: Job) -> None:
    office.started(job)
    assert pipeline.rebuild(at=TOMORROW) == 0
    columns = ("status", "technician", "planned_since", "visit", "next_at", "ends_at", "level")
    before = Job.objects.values(*columns).get()
    assert before["level"] == "hold"
    Job.objects.update(status="to_plan", technician=None, planned_since=None, ends_at=None, level="routine")
    pipeline.rebuild(at=TOMORROW)
    assert Job.objects.values(*columns).get() == before


def test_acts_are_never_changed(office: Crew, job: Job) -> None:
    with pytest.raises(DatabaseError, match="facts are added"), as_tables_owner(), connection.cursor() as cursor:
        cursor.execute("UPDATE jobs_act SET reason = 'x'")


@pytest.mark.parametrize("reached", ["to_plan", "planned", "accepted", "started", "declined", "cancelled"])
@pytest.mark.parametrize("kind", ["plan", "accept", "decline", "start", "withdraw", "cancel"])
def test_only_what_the_table_says_may_follow(reached: str, kind: str, office: Crew, job: Job) -> None:
    ways: dict[str, list[str]] = {
        "to_plan": [],
        "planned": ["plan"],
        "accepted": ["plan", "accept"],
        "started": ["plan", "accept", "start"],
        "declined": ["plan", "decline"],
        "cancelled": ["cancel"],
    }
    more = {"plan": {"since": NOW + HOUR, "technician": office.rosa.id, "second": office.second.id}}
    for step in ways[reached]:
        office.act(job, step, reason="so", **more.get(step, {}))
    expected = states.status_after(reached, kind)
    if expected:
        assert office.act(job, kind, reason="so", **more.get(kind, {})).status == expected
        return
    with pytest.raises(Refused) as refused:
        office.act(job, kind, reason="so", **more.get(kind, {}))
    assert told(refused) == (409, [("not_now", ())])


def test_a_job_on_which_somebody_else_decided_is_stale(office: Crew, job: Job) -> None:
    office.plan(job)
    with pytest.raises(Refused) as refused:
        pipeline.act_on_job(
            job=job.id,
            decision=pipeline.jobs.on_jobs.JobDecision("cancel", "x"),
            version=1,
            by=office.dispatcher,
            at=NOW,
        )
    assert told(refused) == (412, [("stale", ("version",))])


def test_it_is_started_on_its_day_only(office: Crew, job: Job) -> None:
    office.plan(job)
    office.act(job, "accept")
    with pytest.raises(Refused) as refused:
        office.act(job, "start", at=NOW + HOUR)
    assert told(refused) == (409, [("not_its_day", ())])
    assert office.act(job, "start", at=TOMORROW - 8 * HOUR).status == "started"


def test_another_technician_does_not_answer(office: Crew, job: Job) -> None:
    office.plan(job)
    with pytest.raises(Refused) as refused:
        office.act(job, "accept", by=office.second)
    assert told(refused) == (403, [("not_yours", ())])


@pytest.mark.parametrize(
    ("plan", "fault"),
    [
        ({"since": NOW - HOUR}, ("in_the_past", ("start",))),
        ({"to": uuid4()}, ("unknown_person", ("to",))),
        ({"second": None}, ("required", ("with",))),
        ({"second": uuid4()}, ("unknown_person", ("with",))),
        ({"since": TOMORROW + 9 * HOUR}, ("outside_access_hours", ("start",))),
    ],
)
def test_a_plan_that_cannot_be_is_refused(plan: dict[str, Any], fault: tuple[str, Any], office: Crew) -> None:
    Building.objects.update(access_hours="mon-fri 08:00-17:00")
    job = office.make(("upper", "slow_drain"))
    with pytest.raises(Refused) as refused:
        office.plan(job, **plan)
    assert told(refused) == (422, [fault])


def test_an_unqualified_person_is_not_sent(office: Crew, job: Job) -> None:
    with pytest.raises(Refused) as refused:
        office.plan(job, to=office.fleet.caretaker.id)
    assert told(refused) == (422, [("not_qualified", ("to",))])
    with pytest.raises(Refused) as outside:
        office.plan(job, to=office.fleet.outsider.id)
    assert told(outside) == (422, [("unknown_person", ("to",))])


def test_one_trip_does_what_one_skill_can(office: Crew) -> None:
    with pytest.raises(Refused) as refused:
        office.make(("valve", "valve_shop_test"), ("limit", "limit_trip"))
    assert told(refused) == (422, [("more_than_one_trip", ())])


def test_nothing_is_asked_twice(office: Crew) -> None:
    office.make(("limit", "limit_trip"))
    with pytest.raises(Refused) as refused:
        office.make(("limit", "limit_trip"))
    assert told(refused) == (422, [("asked_already", ("procedures", 0))])


def test_a_technician_of_another_firm_reaches_the_building_for_the_time_of_the_job(office: Crew, job: Job) -> None:
    guest = make_person("lena", None, "", "technician")
    boiler = office.fleet.bench().boiler
    office.plan(job, to=guest.id)
    office.act(job, "accept", by=guest)
    grant = Grant.objects.get(user=guest)
    may = [
        policy.is_allowed(guest, "visit.post", boiler.portfolio_id, boiler.building_id, t) for t in _around(grant.until)
    ]
    assert (grant.building_id, may) == (boiler.building_id, [True, False])
    assert grant.until == TOMORROW + DAY + 15 * HOUR  # the end of the day after, in New York


def _around(until: Any) -> tuple[Any, Any]:
    return until - HOUR / 3600, until


def test_a_job_taken_away_takes_its_grant_along(office: Crew, job: Job) -> None:
    guest = make_person("lena", None, "", "technician")
    office.plan(job, to=guest.id)
    office.act(job, "accept", by=guest)
    office.act(job, "decline", by=guest, reason="Ill.", at=NOW + HOUR)
    assert Grant.objects.get(user=guest).until == NOW + HOUR
    office.plan(job, to=guest.id, at=NOW + 2 * HOUR)
    office.act(job, "accept", by=guest, at=NOW + 3 * HOUR)
    assert Grant.objects.get(user=guest).until > TOMORROW
    assert Access.objects.count() == 1


def test_who_has_a_grant_gets_none(office: Crew, job: Job) -> None:
    office.plan(job)
    assert Access.objects.count() == 0


def test_a_missing_limit_is_asked_for_the_test_of_a_limit(office: Crew) -> None:
    bench = office.fleet.bench()
    entry = IncomingEntry(act="remove", code="", position=bench.places["limit"], at=NOW - HOUR, reason="Stolen.")
    office.fleet.post(office.fleet.visit(NOW - HOUR, [entry]), at=NOW - HOUR)
    missing = Deficiency.objects.get(rule="not_fitted")
    asked = pipeline.JobRequest(deficiencies=[missing.id])
    job = pipeline.create_job(building=bench.boiler.building_id, request=asked, by=office.dispatcher, at=NOW)
    assert job.items.get().procedure == "limit_trip"
