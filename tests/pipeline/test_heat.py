"""A building without heat and its papers, through the database: from the boilers' conclusions, under the pulse."""

from datetime import date, datetime, timedelta

import pytest

from fleet import pipeline
from fleet.alerts.models import Alert
from fleet.board.models import Change
from fleet.calendar import day_start
from fleet.errors import Refused
from fleet.portfolio.models import Paper
from tests.cast import DAY, NOW, Fleet
from tests.stories import story

pytestmark = pytest.mark.django_db
BOTH = ("ALD12 B1", "ALD12 B2")
HOUR = timedelta(hours=1)


@story
def house(fleet: Fleet) -> None:
    """Both boilers of 12 Alder Terrace serviced a month ago and left on call."""
    fleet.post(*(fleet.serviced(NOW - 30 * DAY, key) for key in BOTH))


def cold() -> list[Alert]:
    return list(Alert.objects.filter(condition="building_without_heat").order_by("since"))


def fails(house: Fleet, key: str, at: datetime = NOW) -> None:
    house.post(house.flushed(at, key, burner_stopped=False))


def test_one_boiler_on_hold_leaves_the_other_to_heat(house: Fleet) -> None:
    fails(house, BOTH[0])
    assert cold() == []


def test_the_last_boiler_on_hold_leaves_the_building_cold_from_its_hold_on(house: Fleet) -> None:
    fails(house, BOTH[0], NOW - 2 * HOUR)
    fails(house, BOTH[1], NOW - HOUR)
    (alert,) = cold()
    building = house.bench().boiler.building
    assert alert.subject == building.id
    assert alert.boiler is None
    assert alert.since == NOW - HOUR
    assert alert.level == "hold"
    assert alert.sentence.startswith("12 Alder Terrace is without heat")
    assert Change.objects.filter(subject=alert.id, kind="alert.raised", boiler=None).count() == 1


def test_it_does_not_matter_which_hold_was_posted_first(house: Fleet) -> None:
    fails(house, BOTH[1], NOW - HOUR)
    fails(house, BOTH[0], NOW - 2 * HOUR)
    assert [a.since for a in cold()] == [NOW - HOUR]


def test_the_end_of_one_hold_ends_it(house: Fleet) -> None:
    for key in BOTH:
        fails(house, key, NOW - HOUR)
    house.post(house.repaired(NOW))
    assert [a.until for a in cold()] == [NOW]


def test_a_boiler_left_off_leaves_the_building_cold_when_its_season_begins(house: Fleet) -> None:
    summer = NOW + 160 * DAY
    house.post(*(house.visit(summer, [], key, left_as="off_locked") for key in BOTH), at=summer)
    assert cold() == []
    pipeline.sweep(at=NOW + 270 * DAY)
    assert [a.since for a in cold()] == [day_start(date(2026, 10, 1), "America/New_York")]


def test_a_rebuild_writes_nothing_after_it(house: Fleet) -> None:
    for key in BOTH:
        fails(house, key, NOW - HOUR)
    assert pipeline.rebuild(at=NOW) == 0
    assert len(cold()) == 1


def paper(house: Fleet, until: date, since: datetime = NOW - 300 * DAY) -> Paper:
    building = house.bench().boiler.building_id
    return pipeline.add_paper(
        building=building, kind="certificate", name="boiler certificate", since=since, until=until, at=NOW
    )


def test_a_certificate_of_the_building_is_told_on_each_boiler_when_it_runs_out(house: Fleet) -> None:
    paper(house, NOW.date() + 14 * DAY)
    assert not Alert.objects.filter(condition="certificate_running_out").exists()
    pipeline.sweep(at=NOW + 2 * DAY)
    assert Alert.objects.filter(condition="certificate_running_out", until=None).count() == 2


def test_a_newer_certificate_returns_it_to_normal(house: Fleet) -> None:
    paper(house, NOW.date() + 3 * DAY)
    assert Alert.objects.filter(condition="certificate_running_out", until=None).count() == 2
    paper(house, NOW.date() + 400 * DAY, since=NOW)
    assert not Alert.objects.filter(condition="certificate_running_out", until=None).exists()


def test_a_paper_of_nowhere_or_without_a_name_is_refused(house: Fleet) -> None:
    with pytest.raises(Refused) as nowhere:
        pipeline.add_paper(building=house.technician.pk, kind="c", name="c", since=NOW, until=NOW.date(), at=NOW)
    building = house.bench().boiler.building_id
    with pytest.raises(Refused) as unnamed:
        pipeline.add_paper(building=building, kind="certificate", name=" ", since=NOW, until=NOW.date(), at=NOW)
    assert (nowhere.value.status, unnamed.value.faults[0].at) == (404, ("name",))
