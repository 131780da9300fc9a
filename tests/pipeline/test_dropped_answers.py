"""A correction that drops an answer about the register takes it back when it counts, not while it waits."""

from dataclasses import replace
from datetime import datetime, timedelta
from uuid import UUID, uuid5

import pytest

from fleet import pipeline
from fleet.accounts.models import User
from fleet.assessments.models import Waiting
from fleet.board.models import Change
from fleet.errors import Refused
from fleet.management.demo.visit_entries import GOOD_LIFT, VisitWriter
from fleet.portfolio.models import Boiler, Fitting, Portfolio, Position
from fleet.visits.incoming import IncomingEntry, IncomingVisit, RegisterAnswer
from tests.cast import NOW, make_person
from tests.pipeline import test_on_record as on_record
from tests.pipeline.test_on_record import VALVE_THERE, gaps, hand_in, state

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)
FOUND_AT = NOW + timedelta(days=1)
FIXED_AT = FOUND_AT + timedelta(days=1)
shipped, portfolio = on_record.shipped, on_record.portfolio


def drain(at: datetime, outcome: str = "fail") -> IncomingEntry:
    bench = VisitWriter.for_boiler(Boiler.objects.get())
    stopped = {"trip_in": 1.0, "locked_out": True} if outcome == "pass" else {}
    readings = {"burner_firing": True, "burner_stopped": outcome == "pass", **stopped}
    return bench.test_entry(at, "slow_drain", "lower", outcome, **readings)


def found_firing(at: datetime) -> IncomingEntry:
    return IncomingEntry(act="observe", code="found_firing", position=None, at=at)


def post(
    name: str,
    *entries: IncomingEntry,
    at: datetime,
    performed_at: datetime = FOUND_AT,
    corrects: IncomingVisit | None = None,
    answers: tuple[RegisterAnswer, ...] = (),
) -> IncomingVisit:
    """Post a visit of the technician, or its correction."""
    rosa, boiler = User.objects.get(username="rosa"), Boiler.objects.get()
    bench = VisitWriter.for_boiler(boiler)
    more = {"corrects": corrects.id, "reason": "typed wrong"} if corrects else {}
    visit = bench.compose_visit("follow_up", performed_at, [rosa.id], list(entries), register_answers=answers, **more)
    visit = replace(visit, id=uuid5(boiler.id, name))
    pipeline.post_visits([visit], by=rosa, at=at)
    return visit


@pytest.fixture
def found(portfolio: Portfolio) -> IncomingVisit:
    """The visit that found a cutoff that did not act, and a valve that the register leaves out."""
    hand_in(portfolio, "valve")
    make_person("rosa", portfolio, "technician", "technician")
    return post("found", drain(FOUND_AT), at=FOUND_AT, answers=(VALVE_THERE,))


def waiting() -> set[UUID]:
    return set(Waiting.objects.values_list("visit", flat=True))


def is_taken_back() -> bool:
    return Change.objects.filter(kind="register.answered", after="taken_back").exists()


def test_a_correction_that_waits_leaves_what_was_put_on_record(found: IncomingVisit) -> None:
    correction = post("correction", found_firing(FOUND_AT), at=FOUND_AT + HOUR, corrects=found)
    assert (waiting(), state("safety_valve", FOUND_AT + HOUR)) == ({correction.id}, "never_proven")
    assert not is_taken_back()


def test_with_its_second_name_it_takes_the_answer_back(portfolio: Portfolio, found: IncomingVisit) -> None:
    correction = post("correction", found_firing(FOUND_AT), at=FOUND_AT + HOUR, corrects=found)
    nora = make_person("nora", portfolio, "technician", "technician")
    pipeline.second_correction(visit=correction.id, by=nora, at=FOUND_AT + 2 * HOUR)
    assert (waiting(), state("safety_valve", FOUND_AT + 2 * HOUR)) == (set(), "not_fitted")
    assert is_taken_back()
    assert pipeline.rebuild(at=FOUND_AT + 2 * HOUR) == 0


def test_it_takes_the_answer_back_when_the_hold_ends_in_another_way(found: IncomingVisit) -> None:
    post("correction", found_firing(FOUND_AT), at=FOUND_AT + HOUR, corrects=found)
    repair = VisitWriter.for_boiler(Boiler.objects.get()).action_entry(FIXED_AT, "repair", "lower")
    good = drain(FIXED_AT + HOUR, "pass")
    post("fixed", repair, good, performed_at=FIXED_AT, at=FIXED_AT + HOUR)
    assert state("lower_cutoff", FIXED_AT + HOUR) == "proven"
    assert (waiting(), state("safety_valve", FIXED_AT + HOUR)) == (set(), "not_fitted")


def test_the_next_correction_may_restate_what_a_waiting_one_dropped(found: IncomingVisit) -> None:
    first = post("correction", found_firing(FOUND_AT), at=FOUND_AT + HOUR, corrects=found)
    post("restated", drain(FOUND_AT), at=FOUND_AT + 2 * HOUR, corrects=first, answers=(VALVE_THERE,))
    assert (waiting(), state("safety_valve", FOUND_AT + 2 * HOUR)) == (set(), "never_proven")
    assert Position.objects.filter(role="safety_valve").count() == 1
    assert is_taken_back() is False


def test_what_was_taken_back_is_restated_on_the_registers_page(found: IncomingVisit) -> None:
    first = post("correction", drain(FOUND_AT), at=FOUND_AT + HOUR, corrects=found)
    assert (waiting(), state("safety_valve", FOUND_AT + HOUR)) == (set(), "not_fitted")
    with pytest.raises(Refused) as refused:
        post("restated", drain(FOUND_AT), at=FOUND_AT + 2 * HOUR, corrects=first, answers=(VALVE_THERE,))
    assert [f.code for f in refused.value.faults] == ["not_asked"]
    assert "on the register's page" in refused.value.faults[0].message


def test_what_is_put_on_record_after_that_stays(found: IncomingVisit) -> None:
    post("correction", drain(FOUND_AT), at=FOUND_AT + HOUR, corrects=found)
    place = Position.objects.get(role="safety_valve")
    first = Fitting.objects.filter(position=place, device__isnull=False).get()
    posted_at = FOUND_AT + 2 * HOUR
    Fitting.objects.create(
        position=place,
        device=first.device,
        since=first.since,
        posted_at=posted_at,
        portfolio_id=first.portfolio_id,
    )
    pipeline.rebuild(at=posted_at)
    assert state("safety_valve", posted_at) == "never_proven"
    assert Change.objects.filter(after="taken_back").count() == 1


def test_a_place_that_a_later_visit_has_tested_meanwhile_stays(portfolio: Portfolio, found: IncomingVisit) -> None:
    correction = post("correction", found_firing(FOUND_AT), at=FOUND_AT + HOUR, corrects=found)
    lift = VisitWriter.for_boiler(Boiler.objects.get()).test_entry(FIXED_AT, "lever_lift", "safety-valve", **GOOD_LIFT)
    post("lifted", lift, performed_at=FIXED_AT, at=FIXED_AT)
    nora = make_person("nora", portfolio, "technician", "technician")
    pipeline.second_correction(visit=correction.id, by=nora, at=FIXED_AT + HOUR)
    assert waiting() == set()
    assert state("safety_valve", FIXED_AT + HOUR) == "proven"
    assert is_taken_back() is False
    assert gaps(FIXED_AT + HOUR) == ["safety_valve_set_psi"]
