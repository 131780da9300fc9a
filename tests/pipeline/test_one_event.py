"""One event of one visit is one alert with its lines, through the database."""

from dataclasses import replace
from uuid import uuid4

import pytest

from fleet.alerts.models import Alert
from tests.cast import DAY, NOW, Fleet

pytestmark = pytest.mark.django_db
BROKEN_TRIP = {
    "trip_psi": 13.5,
    "stayed_off_minutes": 4.0,
    "psi_when_checked": 2.0,
    "call_on": True,
    "restarted_by_hand": True,
}


@pytest.fixture
def clear(fleet: Fleet) -> Fleet:
    """Serviced a month ago, flushed a day ago."""
    fleet.post(fleet.serviced(NOW - 30 * DAY), fleet.flushed(NOW - 2 * DAY), at=NOW - 2 * DAY)
    return fleet


def raised(fleet: Fleet) -> list[tuple[str, list[str]]]:
    rows = Alert.objects.filter(boiler=fleet.bench().boiler, until=None).order_by("condition")
    return [(row.condition, row.lines) for row in rows if row.condition in ("hold", "against_firing")]


def test_a_failed_limit_and_an_opened_valve_of_one_visit_are_one_alert(clear: Fleet) -> None:
    bench = clear.bench()
    entries = [
        bench.action_entry(NOW, "repair", "valve"),
        bench.test_entry(NOW, "limit_trip", "limit", **BROKEN_TRIP),
    ]
    clear.post(clear.visit(NOW, entries))
    ((condition, lines),) = raised(clear)
    assert condition == "hold"
    assert any("safety valve" in line for line in lines)


def test_an_alert_keeps_up_with_the_lines_of_a_corrected_visit(clear: Fleet) -> None:
    bench = clear.bench()
    opened = bench.action_entry(NOW, "repair", "valve")
    failed = bench.test_entry(NOW, "limit_trip", "limit", **BROKEN_TRIP)
    wrong = clear.visit(NOW, [opened, failed])
    clear.post(wrong)
    version = Alert.objects.get(condition="hold", until=None).version
    clear.post(replace(clear.visit(NOW, [failed], corrects=wrong.id), id=uuid4()))
    alert = Alert.objects.get(condition="hold", until=None)
    assert not any("safety valve" in line for line in alert.lines)
    assert alert.version > version


def test_a_visit_after_the_hold_has_an_alert_of_its_own(clear: Fleet) -> None:
    bench = clear.bench()
    clear.post(
        clear.visit(NOW - DAY, [bench.test_entry(NOW - DAY, "limit_trip", "limit", **BROKEN_TRIP)]), at=NOW - DAY
    )
    clear.post(clear.visit(NOW, [bench.action_entry(NOW, "repair", "valve")]))
    assert [condition for condition, _ in raised(clear)] == ["against_firing", "hold"]


def test_the_alert_after_a_hold_begins_with_what_the_hold_does_not_say(clear: Fleet) -> None:
    bench = clear.bench()
    clear.post(
        clear.visit(NOW - DAY, [bench.test_entry(NOW - DAY, "limit_trip", "limit", **BROKEN_TRIP)]), at=NOW - DAY
    )
    clear.post(clear.visit(NOW, [bench.action_entry(NOW, "repair", "valve")]))
    alert = Alert.objects.get(condition="against_firing", until=None)
    assert "safety valve" in alert.sentence
    assert not any("limit" in line for line in [alert.sentence, *alert.lines])


def test_a_later_visit_ends_the_lines_of_a_hold(clear: Fleet) -> None:
    bench = clear.bench()
    broken = [
        bench.action_entry(NOW - DAY, "repair", "valve"),
        bench.test_entry(NOW - DAY, "limit_trip", "limit", **BROKEN_TRIP),
    ]
    clear.post(clear.visit(NOW - DAY, broken), at=NOW - DAY)
    assert Alert.objects.get(condition="hold", until=None).lines != []
    clear.post(clear.visit(NOW, [bench.action_entry(NOW, "adjust", "control")]))
    assert Alert.objects.get(condition="hold", until=None).lines == []
    alert = Alert.objects.get(condition="against_firing", until=None)
    assert any("safety valve" in line for line in [alert.sentence, *alert.lines])
