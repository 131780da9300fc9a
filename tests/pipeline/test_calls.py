"""A tenant's call: a job, joined by further calls of the house, answered by a visit, and never proof of anything."""

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import DatabaseError, connection

from fleet import pipeline
from fleet.board.models import Change
from fleet.errors import Refused
from fleet.jobs.call_kinds import CALL_KINDS
from fleet.jobs.calls import CallRequest, count_flats
from fleet.jobs.models import Job, TenantCall
from tests.cast import NOW, Fleet, standing
from tests.jobs.crew import HOUR, Crew, crew
from tests.site_role import as_tables_owner

pytestmark = pytest.mark.django_db
SECOND = timedelta(seconds=1)


@pytest.fixture
def office(fleet: Fleet) -> Crew:
    return crew(fleet)


def take(office: Crew, kind: str = "no_heat", at: datetime = NOW, **more: Any) -> TenantCall:
    return pipeline.take_call(
        building=office.house().id, request=CallRequest(kind, **more), by=office.dispatcher, at=at
    )


def no_heat_visit(office: Crew, at: datetime, key: str = "ALD12 B1", **more: Any) -> None:
    bench = office.fleet.bench(key)
    entry = bench.test_entry(at, "button_test", "lower")
    visit = bench.compose_visit("no_heat", at, [office.rosa.id], [entry], left_as="on_call")
    office.fleet.post(replace(visit, **more), at=at)


def test_a_call_makes_a_job_to_be_planned(office: Crew) -> None:
    call = take(office, flat="3B", since=NOW - 6 * HOUR)
    job = Job.objects.get()
    assert (call.job, job.status, job.level, job.skills) == (job, "to_plan", "urgent", ["technician"])
    assert job.minutes == CALL_KINDS["no_heat"].minutes
    assert [item.sentence for item in job.items.all()] == ["No heat, flat 3B, since Mon 12 Jan 2026: a tenant called."]


def test_names_and_numbers_stay_out_of_sentences(office: Crew) -> None:
    take(office, caller="Mrs. Ferrante", call_back="212 555 0134", note="Ring twice.")
    sentences = " ".join(Change.objects.values_list("sentence", flat=True))
    assert "A job is to be planned: No heat" in sentences
    assert not any(word in sentences for word in ("Ferrante", "0134", "Ring"))


def test_a_further_call_of_the_house_joins_its_open_job_and_the_gravest_decides(office: Crew) -> None:
    first = take(office, "noise", flat="1A")
    version = Job.objects.get().version
    second = take(office, "smell", at=NOW + HOUR, flat="2C")
    job = Job.objects.get()
    assert first.job_id == second.job_id == job.id
    assert (job.level, job.items.count()) == ("hold", 2)
    assert job.version > version


def test_a_call_after_the_job_is_over_makes_another(office: Crew) -> None:
    job = take(office).job
    office.act(job, "cancel", reason="A wrong number.")
    assert take(office, at=NOW + HOUR).job_id != job.id


def test_a_call_joins_no_job_that_answers_no_call(office: Crew) -> None:
    other = office.make(("limit", "limit_trip"))
    assert take(office).job_id != other.id


@pytest.mark.parametrize(("offset", "status"), [(-SECOND, "to_plan"), (0 * SECOND, "answered"), (SECOND, "answered")])
def test_a_visit_from_the_call_on_answers_it(offset: timedelta, status: str, office: Crew) -> None:
    call = take(office, at=NOW)
    no_heat_visit(office, NOW + offset)
    assert Job.objects.get(id=call.job_id).status == status


def test_a_visit_to_the_other_boiler_of_the_house_answers_it(office: Crew) -> None:
    call = take(office)
    no_heat_visit(office, NOW + HOUR, key="ALD12 B2")
    job = Job.objects.get(id=call.job_id)
    assert (job.status, job.settled["0"]["how"]) == ("answered", "visited")


def test_a_round_of_the_caretaker_answers_no_call(office: Crew) -> None:
    call = take(office)
    office.fleet.post(office.fleet.flushed(NOW + HOUR, who=office.fleet.caretaker), at=NOW + HOUR)
    office.fleet.post(office.fleet.flushed(NOW + 2 * HOUR), at=NOW + 2 * HOUR)
    assert Job.objects.get(id=call.job_id).status == "to_plan"


def test_one_visit_answers_the_calls_before_it_and_none_after_it(office: Crew) -> None:
    take(office, flat="1A")
    take(office, flat="1B", at=NOW + HOUR)
    no_heat_visit(office, NOW + 2 * HOUR)
    later = take(office, flat="2A", at=NOW + 3 * HOUR)
    assert set(Job.objects.values_list("status", flat=True)) == {"answered", "to_plan"}
    assert later.job.status == "to_plan"


def test_a_visit_that_is_withdrawn_answers_nothing(office: Crew) -> None:
    call = take(office)
    no_heat_visit(office, NOW + HOUR)
    visit = office.fleet.bench().boiler.visits.get()
    bench = office.fleet.bench()
    void = bench.compose_visit("no_heat", NOW + HOUR, [office.rosa.id], [])
    office.fleet.post(
        replace(void, id=uuid4(), corrects=visit.id, reason="The wrong house.", void=True), at=NOW + 2 * HOUR
    )
    assert Job.objects.get(id=call.job_id).status == "to_plan"


def test_a_call_changes_no_standing(office: Crew) -> None:
    office.fleet.post(office.fleet.serviced(NOW - 24 * HOUR), at=NOW - 24 * HOUR)
    before = standing(office.fleet.bench())
    for kind in CALL_KINDS:
        take(office, kind, flat=kind)
    assert standing(office.fleet.bench()) == before


@pytest.mark.parametrize(
    ("values", "fault"),
    [
        ({"kind": "boredom"}, ("required", ("kind",))),
        ({"since": NOW + SECOND}, ("out_of_range", ("since",))),
        ({"flat": "x" * 41}, ("too_long", ("flat",))),
    ],
)
def test_what_is_refused_is_kept_nowhere(values: dict[str, Any], fault: Any, office: Crew) -> None:
    with pytest.raises(Refused) as refused:
        take(office, **{"kind": "no_heat", **values})
    assert [(f.code, f.at) for f in refused.value.faults] == [fault]
    assert not TenantCall.objects.exists()
    assert not Job.objects.exists()


def test_a_call_now_is_no_call_of_the_future(office: Crew) -> None:
    assert take(office, since=NOW).since == NOW


def test_a_call_is_never_changed(office: Crew) -> None:
    take(office)
    with pytest.raises(DatabaseError, match="facts are added"), as_tables_owner(), connection.cursor() as cursor:
        cursor.execute("UPDATE jobs_tenantcall SET flat = 'x'")


def test_flats_are_counted_however_they_are_written(office: Crew) -> None:
    calls = [take(office, flat=flat) for flat in ("3B", " 3b", "4A")]
    assert count_flats(calls) == 2


@pytest.mark.parametrize("kind", CALL_KINDS.values(), ids=list(CALL_KINDS))
def test_nobody_is_told_to_reset_or_to_add_water(kind: Any) -> None:
    said = " ".join((*kind.cautions, *kind.questions)).lower()
    assert not any(word in said for word in ("reset", "add water", "relight", "press the button"))
    assert kind.cautions


@pytest.mark.parametrize("code", ["alarm", "smell"])
def test_with_gas_or_an_alarm_everyone_out_comes_first(code: str) -> None:
    first = CALL_KINDS[code].cautions[0]
    assert "everyone out now" in first.lower()
    assert "from outside" in first
