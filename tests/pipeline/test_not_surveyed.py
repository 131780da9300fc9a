"""One alert per portfolio for boilers nobody surveyed: from the facts, whatever ran, and without their locks."""

from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from fleet import pipeline
from fleet.alerts.acts import AlertDecision
from fleet.alerts.models import Alert
from fleet.board.models import Change, Judged
from fleet.pipeline import conclude
from fleet.portfolio.models import Boiler, ServiceState
from fleet.records.events import Cause
from fleet.sheets.register_sheet import parse_sheet
from tests.cast import DAY, NOW, Fleet, make_fleet
from tests.pipeline.test_concurrency import at_once
from tests.portfolio.sheets import CATALOGUE, row, sheet

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


def told() -> Alert:
    found: Alert = Alert.objects.get(condition="not_surveyed")
    return found


def survey(fleet: Fleet, *keys: str, at: datetime = NOW) -> None:
    for key in keys:
        fleet.post(fleet.serviced(at, key), at=at)


def test_it_is_the_portfolios_since_its_first_boiler(fleet: Fleet) -> None:
    first = Boiler.objects.order_by("since")[0].since
    alert = told()
    assert alert.boiler_id is None
    assert alert.subject == fleet.portfolio.id
    assert alert.since == first
    assert alert.until is None
    assert alert.sentence.startswith("2 boilers have not been surveyed")


def test_a_survey_of_one_leaves_it_raised_and_counts_the_rest(fleet: Fleet) -> None:
    row_id = told().id
    survey(fleet, "ALD12 B1")
    assert (told().id, told().until) == (row_id, None)
    assert told().sentence.startswith("One boiler has not been surveyed")


def test_the_survey_of_the_last_returns_it_to_normal(fleet: Fleet) -> None:
    survey(fleet, "ALD12 B1")
    survey(fleet, "ALD12 B2", at=NOW + HOUR)
    assert (told().until, told().returned_at) == (NOW + HOUR, NOW + HOUR)
    assert Change.objects.filter(kind="alert.returned", subject=told().id, boiler=None).count() == 1


def test_a_caretakers_visit_surveys_nothing(fleet: Fleet) -> None:
    fleet.post(fleet.flushed(NOW, who=fleet.caretaker))
    assert told().sentence.startswith("2 boilers")


def test_it_ends_where_the_board_stops_saying_not_surveyed(fleet: Fleet) -> None:
    from fleet.board import queries

    survey(fleet, "ALD12 B1", "ALD12 B2", at=NOW - DAY)
    found = told()
    spoken = queries.standing_of(fleet.bench().boiler.id, NOW)
    assert spoken is not None
    assert (found.until, spoken.standing) == (NOW - DAY, "clear")


def test_a_boiler_that_comes_later_raises_it_anew(fleet: Fleet) -> None:
    survey(fleet, "ALD12 B1", "ALD12 B2", at=NOW - 30 * DAY)
    text = sheet(row(building_ref="NEW1", address="1 New Lane", since="2026-01-05", fitted_on="2026-01-05"))
    pipeline.change_register(
        portfolio=fleet.portfolio, rows=parse_sheet(text, CATALOGUE), at=NOW, cause=Cause(who="office")
    )
    raised = Alert.objects.filter(condition="not_surveyed", until=None).get()
    assert (raised.since, Alert.objects.filter(condition="not_surveyed").count()) == (
        Boiler.objects.get(building__ref="NEW1").since,
        2,
    )


def test_a_correction_of_the_survey_brings_it_back(fleet: Fleet) -> None:
    from dataclasses import replace
    from uuid import uuid4

    survey(fleet, "ALD12 B1", "ALD12 B2")
    served = fleet.serviced(NOW, "ALD12 B2")
    fleet.post(replace(served, id=uuid4(), corrects=served.id, reason="never was", void=True, entries=()))
    assert (told().until, told().sentence.split(" ")[0]) == (None, "One")


def test_a_boiler_that_is_off_is_not_waited_for(fleet: Fleet) -> None:
    survey(fleet, "ALD12 B1")
    boiler = fleet.bench("ALD12 B2").boiler
    ServiceState.objects.create(
        portfolio=fleet.portfolio, boiler=boiler, state="retired", since=NOW + DAY, posted_at=NOW
    )
    pipeline.rebuild(at=NOW)
    pipeline.sweep(at=NOW + 3 * DAY)
    assert told().until == NOW + DAY


def outcome() -> set[tuple[Any, ...]]:
    return set(Alert.objects.values_list("condition", "subject", "since", "until", "sentence"))


@pytest.mark.parametrize("days", [1, 40])
def test_after_an_outage_it_is_as_if_somebody_had_swept_every_day(fleet: Fleet, days: int) -> None:
    survey(fleet, "ALD12 B1")
    boiler = fleet.bench("ALD12 B2").boiler
    ServiceState.objects.create(
        portfolio=fleet.portfolio, boiler=boiler, state="laid_up_dry", since=NOW + DAY / 2, posted_at=NOW
    )
    pipeline.rebuild(at=NOW)
    found = []
    for sweeps in ([NOW + d * DAY for d in range(days + 1)], [NOW + days * DAY]):
        with transaction.atomic():
            for at in sweeps:
                pipeline.sweep(at=at)
            found.append(outcome())
            transaction.set_rollback(True)
    assert found[0] == found[1]
    assert ("not_surveyed", NOW + DAY / 2) in {(c, until) for c, _, _, until, _ in found[0]}


def test_a_boiler_that_cannot_be_judged_counts_as_not_surveyed(fleet: Fleet, monkeypatch: pytest.MonkeyPatch) -> None:
    poisonous = fleet.bench("ALD12 B2").boiler.id
    poison(monkeypatch, poisonous)
    survey(fleet, "ALD12 B1")
    assert told().sentence.startswith("One boiler")


def poison(monkeypatch: pytest.MonkeyPatch, poisonous: UUID) -> None:
    real = conclude.judge

    def judge(evidence: Any, **options: Any) -> Any:
        if evidence.boiler == poisonous:
            raise ZeroDivisionError
        return real(evidence, **options)

    monkeypatch.setattr(conclude, "judge", judge)


def test_what_cannot_be_judged_and_can_again_is_in_the_feed(fleet: Fleet, monkeypatch: pytest.MonkeyPatch) -> None:
    Judged.objects.update(build="old")
    with monkeypatch.context() as poisoned:
        poison(poisoned, fleet.bench().boiler.id)
        pipeline.sweep(at=NOW)
        pipeline.sweep(at=NOW + HOUR)
    pipeline.sweep(at=NOW + 3 * HOUR)
    kinds = Change.objects.filter(rule="cannot_be_judged").order_by("version")
    assert list(kinds.values_list("kind", flat=True)) == ["alert.raised", "alert.returned"]


def test_what_cannot_be_judged_can_be_acknowledged_and_shelved(fleet: Fleet, monkeypatch: pytest.MonkeyPatch) -> None:
    Judged.objects.update(build="old")
    poison(monkeypatch, fleet.bench().boiler.id)
    pipeline.sweep(at=NOW)
    alert: Alert = Alert.objects.get(condition="cannot_be_judged")
    for decision in (
        AlertDecision("acknowledged"),
        AlertDecision("shelved", "The makers look into it.", NOW + 2 * HOUR),
    ):
        alert = pipeline.act_on_alert(
            alert=alert.id, decision=decision, version=alert.version, by=fleet.technician, at=NOW
        )
    pipeline.sweep(at=NOW + 2 * HOUR)
    after: Alert = Alert.objects.get(id=alert.id)
    assert (alert.status, after.status) == ("shelved", "acknowledged")


def test_the_portfolios_alert_is_acknowledged_without_a_lock_on_any_boiler(fleet: Fleet) -> None:
    alert = told()
    with CaptureQueriesContext(connection) as captured:
        done = pipeline.act_on_alert(
            alert=alert.id, decision=AlertDecision("acknowledged"), version=alert.version, by=fleet.technician, at=NOW
        )
    locks = [q["sql"] for q in captured if "FOR " in q["sql"] and "portfolio_boiler" in q["sql"]]
    assert (done.status, locks) == ("acknowledged", [])


def test_a_count_that_changes_leaves_it_acknowledged(fleet: Fleet) -> None:
    alert = told()
    pipeline.act_on_alert(
        alert=alert.id, decision=AlertDecision("acknowledged"), version=alert.version, by=fleet.technician, at=NOW
    )
    survey(fleet, "ALD12 B1")
    assert told().status == "acknowledged"


def test_a_clock_that_is_behind_takes_nothing_back(fleet: Fleet) -> None:
    survey(fleet, "ALD12 B1", "ALD12 B2", at=NOW)
    late = fleet.flushed(NOW - 40 * DAY, "ALD12 B2")
    fleet.post(late, at=NOW - 2 * HOUR)
    # The first one's survey still ends it, at an instant this clock has not come to.
    assert (told().until, told().returned_at) == (NOW, NOW)


@pytest.mark.django_db(transaction=True)
def test_the_last_two_surveyed_at_once_leave_none() -> None:
    fleet = make_fleet()
    at_once(lambda: survey(fleet, "ALD12 B1"), lambda: survey(fleet, "ALD12 B2"))
    assert told().until == NOW
