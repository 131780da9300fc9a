"""Boilers that share a header: a write on a shared position locks, judges and tells of all of them."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet import pipeline
from fleet.alerts.models import Alert
from fleet.assessments.models import Readiness
from fleet.evidence import gather_evidence
from fleet.portfolio.locks import lock_boilers
from fleet.portfolio.models import Boiler, Device, Fitting, HeaderGroup, Position
from fleet.visits.incoming import IncomingEntry
from tests.cast import DAY, LONG_AGO, NOW, Fleet, standing
from tests.stories import story

pytestmark = pytest.mark.django_db
FEEDS = {"feeds_when_low": True, "stops_at_line": True, "tight_when_off": True}


@story
def on_one_header(fleet: Fleet) -> None:
    """Both boilers of Alder Terrace on one header, fed by one feeder; both serviced a month ago."""
    boiler = fleet.bench().boiler
    group = HeaderGroup.objects.create(portfolio=fleet.portfolio, building=boiler.building, ref="header")
    Boiler.objects.filter(building=boiler.building).update(header_group=group)
    feeder = Position.objects.create(
        portfolio=fleet.portfolio, header_group=group, ref="feeder", name="feeder", role_id="feeder"
    )
    device = Device.objects.create(portfolio=fleet.portfolio, kind_id="feeder")
    Fitting.objects.create(
        portfolio=fleet.portfolio, position=feeder, device=device, since=boiler.since, posted_at=LONG_AGO
    )
    fleet.post(fleet.serviced(NOW - 30 * DAY), fleet.serviced(NOW - 30 * DAY, "ALD12 B2"), at=NOW - 30 * DAY)


@pytest.fixture
def shared(on_one_header: Fleet) -> Position:
    """The feeder of both."""
    return Position.objects.get(ref="feeder")


def failed(fleet: Fleet, feeder: Position) -> None:
    """The shared feeder fails its check, posted for boiler 1."""
    entry = IncomingEntry(act="test", code="feeder_check", position=feeder.id, at=NOW, outcome="fail")
    fleet.post(fleet.visit(NOW, [entry]))


def test_a_lock_on_one_takes_all_that_share_its_header(fleet: Fleet, shared: Position) -> None:
    assert {b.id for b in lock_boilers([fleet.bench().boiler.id])} == set(Boiler.objects.values_list("id", flat=True))


def test_a_failed_shared_feeder_impairs_both_boilers(fleet: Fleet, shared: Position) -> None:
    failed(fleet, shared)
    assert [standing(fleet.bench(key)) for key in ("ALD12 B1", "ALD12 B2")] == ["impaired", "impaired"]


def test_the_neighbour_knows_the_entry_but_was_not_visited(fleet: Fleet, shared: Position) -> None:
    failed(fleet, shared)
    neighbour = fleet.bench("ALD12 B2").boiler
    evidence, _ = gather_evidence(neighbour.id, NOW)
    assert [len(v.entries) for v in evidence.visits if not v.of_this_boiler] == [1]
    assert Readiness.objects.filter(boiler=neighbour).count() == 1


def test_the_evidence_of_a_boiler_on_a_header_takes_as_many_queries_however_many_share_it(
    fleet: Fleet, shared: Position, django_assert_num_queries: Any
) -> None:
    boiler = fleet.bench().boiler
    with CaptureQueriesContext(connection) as two_boilers:
        gather_evidence(boiler.id, NOW)
    facts = {"portfolio": fleet.portfolio, "building": boiler.building, "header_group": boiler.header_group}
    for number in (3, 4):
        Boiler.objects.create(ref=f"B{number}", name=f"Boiler {number}", since=boiler.since, **facts)
    with django_assert_num_queries(len(two_boilers)):
        evidence, _ = gather_evidence(boiler.id, NOW)
    assert len(evidence.header_services) == 3


def test_what_comes_due_on_a_shared_position_is_told_of_each_boiler(fleet: Fleet, shared: Position) -> None:
    entry = IncomingEntry(act="test", code="feeder_check", position=shared.id, at=NOW, outcome="pass", readings=FEEDS)
    fleet.post(fleet.visit(NOW, [entry]))
    swept = pipeline.sweep(at=NOW + 500 * DAY)
    told = Alert.objects.filter(subject=shared.id, until=None).values_list("condition", "boiler__ref")
    assert swept.failed == 0
    assert {ref for _, ref in told} == {"B1", "B2"}


def test_what_is_seen_of_one_boiler_as_a_whole_is_not_its_neighbours(fleet: Fleet, shared: Position) -> None:
    fleet.post(fleet.visit(NOW, [IncomingEntry(act="observe", code="gas_smell", position=None, at=NOW)]))
    assert [standing(fleet.bench(key)) for key in ("ALD12 B1", "ALD12 B2")] == ["hold", "due"]
