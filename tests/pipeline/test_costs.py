"""What one post, one act and one step of the sweep cost: queries and rows, pinned. Savepoints are counted."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.apps import apps
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet import pipeline
from fleet.alerts.acts import AlertDecision as OnAlert
from fleet.alerts.models import Alert
from fleet.board.models import Judged
from fleet.deficiencies.models import Deficiency
from fleet.pipeline import memory
from tests.cast import DAY, NOW, Fleet
from tests.deficiencies.people import DEFER, HOUR, Desk, desk

pytestmark = pytest.mark.django_db

# Every write about one boiler, whatever its history (37): lock the boiler · when it was last judged, its standing ·
# evidence: boiler, positions, terms, release, fittings, settings, service states, papers, visits, people,
# qualifications, entries, readings (13) · acts about its deficiencies · what is stored: verdicts, findings, readiness,
# deficiencies twice, segments, states, glass, days by standing, days by class, waiting, alerts, survey (13) · jobs of
# the building · mark: read, update, two savepoints (4) · pulse: lock, update (2).
WRITE = 37
# A flush that passed (60): its id, positions, people, release (4) · visit, person, entry, reading (4) · verdict,
# segments deleted, updated, added, states deleted and added, glass, days deleted, updated, added (10) ·
# answer: entries, kept, read again (3) · two savepoints.
POST = WRITE + 23
# Deferring a deficiency (51): find it · row, mark, acts, episodes (4) · act added, next version (2) · its life told:
# acts, episodes (2) · episodes for the rules · change · the row read again · two savepoints.
ACT = WRITE + 14
# Acknowledging an alert (48): find it · row, mark (2) · act added, next version (2) · its acts · alert updated ·
# change · the row read again · two savepoints.
ACKNOWLEDGE = WRITE + 11
# One step of the sweep over a boundary of the standing (49): portfolios, their terms, release, who waits (4) · change ·
# whose shelving is over · which jobs wait · of notices: the portfolios, whether anybody there gave an address, whether
# it is raised that nobody is told (3) · two savepoints.
SWEEP = WRITE + 12


@pytest.fixture
def office(fleet: Fleet) -> Desk:
    """Serviced a month ago, flushed yesterday."""
    fleet.post(fleet.serviced(NOW - 30 * DAY), at=NOW - 30 * DAY)
    fleet.post(fleet.flushed(NOW - DAY), at=NOW - DAY)
    return desk(fleet)


def rows() -> dict[str, int]:
    rooms = ("visits", "assessments", "deficiencies", "board", "alerts", "terms", "portfolio")
    models = [m for m in apps.get_models() if m._meta.app_label in rooms]
    return {m._meta.label: m._base_manager.count() for m in models}


def cost(work: Callable[[], Any]) -> tuple[int, dict[str, int]]:
    """Queries, and by how many rows each table grew."""
    before = rows()
    memory.forget_boilers()
    with CaptureQueriesContext(connection) as captured:
        work()
    grown = {label: count - before[label] for label, count in rows().items()}
    return len(captured), {label: more for label, more in grown.items() if more}


def test_one_post_of_a_flush_that_passed(office: Desk) -> None:
    visit = office.fleet.flushed(NOW)
    queries, grown = cost(lambda: office.fleet.post(visit))
    assert queries == POST
    visit_rows = {"visits.Visit": 1, "visits.Attendance": 1, "visits.Entry": 1, "visits.Reading": 5}
    assert grown == {**visit_rows, "assessments.Verdict": 1, "assessments.Answer": 1}


def test_one_act_on_a_deficiency(office: Desk) -> None:
    at = NOW + HOUR
    office.fleet.post(office.fleet.flushed(at, sediment="very_dirty"), at=at)
    row = Deficiency.objects.get(rule="flush_dirty")
    version = row.version
    queries, grown = cost(
        lambda: pipeline.act_on_deficiency(deficiency=row.id, decision=DEFER, version=version, by=office.manager, at=at)
    )
    assert queries == ACT
    assert grown == {"deficiencies.DeficiencyAct": 1, "board.Change": 1}


def test_one_act_on_an_alert(office: Desk) -> None:
    at = NOW + timedelta(hours=2)
    office.fleet.post(office.fleet.flushed(at, burner_stopped=False), at=at)
    row: Alert = Alert.objects.get(condition="hold")
    decision, version = OnAlert("acknowledged"), row.version
    queries, grown = cost(
        lambda: pipeline.act_on_alert(alert=row.id, decision=decision, version=version, by=office.manager, at=at)
    )
    assert queries == ACKNOWLEDGE
    assert grown == {"alerts.AlertAct": 1, "board.Change": 1}


def test_one_step_of_the_sweep(office: Desk) -> None:
    next_at = Judged.objects.get(boiler=office.fleet.bench().boiler).next_at
    assert next_at is not None
    queries, grown = cost(lambda: pipeline.sweep(at=next_at))
    assert queries == SWEEP
    assert grown == {"board.Change": 1}


def test_an_act_costs_the_same_however_many_came_before(office: Desk) -> None:
    at = NOW + HOUR
    office.fleet.post(office.fleet.flushed(at, sediment="very_dirty"), at=at)
    row = Deficiency.objects.get(rule="flush_dirty")
    costs = {cost(lambda: office.act(row, DEFER, at=at))[0] for _ in range(4)}
    assert len(costs) == 1


def test_what_this_process_read_before_it_does_not_read_again(office: Desk) -> None:
    visit = office.fleet.flushed(NOW - HOUR)
    with CaptureQueriesContext(connection) as captured:
        office.fleet.post(visit, at=NOW)
    first = len(captured)
    judged = Judged.objects.get(boiler=office.fleet.bench().boiler)
    assert judged.next_at is not None
    with CaptureQueriesContext(connection) as captured:
        pipeline.sweep(at=judged.next_at)
    assert (first, len(captured)) == (POST, SWEEP - 2)  # what is new is read; then there is nothing new
