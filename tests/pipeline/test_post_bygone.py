"""A boiler's past told in one go: the same conclusions as one post after another, and nothing kept of a bad one."""

from dataclasses import replace
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import transaction

from fleet import pipeline
from fleet.assessments.models import Answer
from fleet.errors import Refused
from fleet.pipeline import PastVisit
from fleet.records.events import Cause
from fleet.visits.incoming import IncomingVisit
from fleet.visits.models import Visit
from tests.cast import DAY, NOW, Fleet, conclusions
from tests.shop_papers import paper_visit

pytestmark = pytest.mark.django_db
CAUSE = Cause(who="office")


def past(fleet: Fleet) -> list[IncomingVisit]:
    """A service, a flush that failed, its repair, a flush; and a flush that was restated."""
    made = [fleet.serviced(NOW - 40 * DAY), fleet.flushed(NOW - 20 * DAY, burner_stopped=False)]
    made += [fleet.repaired(NOW - 19 * DAY), fleet.flushed(NOW - 6 * DAY)]
    again = replace(made[3], id=uuid4(), corrects=made[3].id, reason="Typed wrongly.")
    return [*made, again]


def posts(fleet: Fleet, visits: list[IncomingVisit]) -> list[PastVisit]:
    return [PastVisit(v, fleet.technician, v.performed_at + timedelta(hours=1 + n / 10)) for n, v in enumerate(visits)]


def test_a_past_told_at_once_concludes_what_its_posts_would_have(fleet: Fleet) -> None:
    visits, boiler = past(fleet), fleet.bench().boiler.id
    with transaction.atomic():
        for post in posts(fleet, visits):
            fleet.post(post.visit, at=post.posted_at)
        pipeline.sweep(at=NOW)
        apart = conclusions(boiler)
        transaction.set_rollback(True)
    assert pipeline.post_past_visits(posts(fleet, visits), at=NOW, cause=CAUSE) == 5
    together = conclusions(boiler)
    for told in (apart, together):
        told.pop("Alert")  # those that came and went while nothing ran differ in nothing but the rows of the log
    assert together == apart


def test_each_visit_keeps_when_it_was_posted_and_gets_its_answer(fleet: Fleet) -> None:
    told = posts(fleet, past(fleet))
    pipeline.post_past_visits(told, at=NOW, cause=CAUSE)
    assert set(Visit.objects.values_list("id", "posted_at")) == {(p.visit.id, p.posted_at) for p in told}
    assert set(Answer.objects.values_list("id", "answered_at")) == {(p.visit.id, NOW) for p in told}
    assert pipeline.rebuild(at=NOW) == 0


def test_one_bad_visit_keeps_all_out_and_is_named(fleet: Fleet) -> None:
    good, bad = (
        fleet.flushed(NOW - 9 * DAY),
        replace(fleet.flushed(NOW - 8 * DAY), performed_at=NOW - 5000 * DAY, entries=()),
    )
    with pytest.raises(Refused) as refused, transaction.atomic():
        pipeline.post_past_visits(posts(fleet, [good, bad]), at=NOW, cause=CAUSE)
    assert [(f.code, f.at) for f in refused.value.faults] == [("before_the_boiler", (1, "performed_at"))]
    assert not Visit.objects.exists()


def test_what_is_known_already_is_refused(fleet: Fleet) -> None:
    told = posts(fleet, [fleet.flushed(NOW - 9 * DAY)])
    pipeline.post_past_visits(told, at=NOW, cause=CAUSE)
    with pytest.raises(Refused, match="already on record"), transaction.atomic():
        pipeline.post_past_visits(told, at=NOW, cause=CAUSE)


def test_one_paper_of_a_load_is_taken_once(fleet: Fleet) -> None:
    first = paper_visit(fleet)
    twice = posts(fleet, [first, replace(first, id=uuid4())])
    with pytest.raises(Refused) as refused, transaction.atomic():
        pipeline.post_past_visits(twice, at=NOW, cause=CAUSE)
    assert [(f.code, f.at) for f in refused.value.faults] == [("paper_posted_already", (1, "paper", "number"))]
