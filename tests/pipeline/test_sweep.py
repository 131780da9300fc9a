"""What time alone brings, and that it brings the same however often and however late the sweep comes."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import transaction
from django.db.models import QuerySet

from fleet import pipeline
from fleet.alerts.models import Alert
from fleet.board.models import Change, Judged
from fleet.calendar import day_start
from fleet.pipeline import conclude
from fleet.visits.models import Visit
from tests.cast import DAY, NOW, Fleet, standing
from tests.stories import story

pytestmark = pytest.mark.django_db

ZONE = "America/New_York"
MICROSECOND = timedelta(microseconds=1)
FLUSHED = NOW - DAY  # Sunday 11 January 2026
DUE = day_start(FLUSHED.date() + timedelta(days=7), ZONE)
REMIND = DUE + 3 * DAY
LAPSED = day_start(FLUSHED.date() + timedelta(days=31), ZONE)  # thirty whole firing days, its own day not counted


@story
def clear(fleet: Fleet) -> None:
    """Serviced a month ago, flushed yesterday, then nobody comes."""
    fleet.post(fleet.serviced(NOW - 30 * DAY), fleet.flushed(FLUSHED))


def raised_on_boilers() -> QuerySet[Alert]:
    """What is raised now, the portfolio's own alert aside: its second boiler was never surveyed."""
    return Alert.objects.filter(until=None).exclude(boiler=None)


@pytest.mark.parametrize(
    ("at", "expected"),
    [
        (DUE - MICROSECOND, "clear"),
        (DUE, "due"),
        (DUE + MICROSECOND, "due"),
        (LAPSED - MICROSECOND, "due"),
        (LAPSED, "due"),
    ],
)
def test_the_board_is_right_at_every_instant_even_when_nothing_runs(clear: Fleet, at: datetime, expected: str) -> None:
    assert standing(clear.bench(), at) == expected


@pytest.mark.parametrize(
    ("at", "raised"),
    [
        (REMIND - MICROSECOND, []),
        (REMIND, ["due"]),
        (REMIND + MICROSECOND, ["due"]),
        (LAPSED - MICROSECOND, ["due"]),
        (LAPSED, ["lapsed"]),
    ],
)
def test_a_sweep_raises_what_has_begun_by_then_and_nothing_else(clear: Fleet, at: datetime, raised: list[str]) -> None:
    pipeline.sweep(at=at)
    assert list(raised_on_boilers().values_list("condition", flat=True)) == raised


def test_an_alert_begins_at_its_boundary_not_at_the_sweep(clear: Fleet) -> None:
    pipeline.sweep(at=REMIND + timedelta(hours=5))
    alert = raised_on_boilers().get()
    assert (alert.since, alert.raised_at) == (REMIND, REMIND + timedelta(hours=5))


def alerts() -> set[tuple[Any, ...]]:
    """All alerts, open and returned, without when they were written down."""
    return set(Alert.objects.values_list("condition", "subject", "since", "until"))


def after(sweeps: Iterable[datetime]) -> set[tuple[Any, ...]]:
    """The alerts after these sweeps; the database is as before afterwards."""
    with transaction.atomic():
        for at in sweeps:
            pipeline.sweep(at=at)
        found = alerts()
        transaction.set_rollback(True)
    return found


@pytest.mark.parametrize("days", [10, 40, 300])
def test_a_sweep_after_an_outage_leaves_the_same_alerts_as_one_every_day(clear: Fleet, days: int) -> None:
    undisturbed = after(NOW + d * DAY for d in range(days + 1))
    assert after([NOW + days * DAY]) == undisturbed
    assert len(undisturbed) > len(alerts())


def test_alerts_that_came_and_went_during_an_outage_are_written_as_returned(clear: Fleet) -> None:
    pipeline.sweep(at=LAPSED)
    due = Alert.objects.get(condition="due", since=REMIND)
    assert due.since == REMIND
    assert due.until == LAPSED
    assert due.returned_at == LAPSED


def test_two_sweeps_at_one_instant_write_once(clear: Fleet) -> None:
    pipeline.sweep(at=REMIND)
    before = (Change.objects.count(), alerts())
    assert pipeline.sweep(at=REMIND).judged == 0
    assert (Change.objects.count(), alerts()) == before


def test_a_sweep_reads_only_boilers_whose_boundary_has_passed(clear: Fleet) -> None:
    assert pipeline.sweep(at=NOW).judged == 0
    assert pipeline.sweep(at=DUE).judged == 1


def test_the_clock_of_a_boiler_never_goes_back(clear: Fleet) -> None:
    pipeline.sweep(at=REMIND)
    clear.post(clear.flushed(NOW - timedelta(hours=1)), at=NOW)
    assert Judged.objects.get(boiler=clear.bench().boiler).judged_at == REMIND


def test_an_old_build_is_judged_again_by_the_sweep(clear: Fleet) -> None:
    Judged.objects.update(build="r0.c1.t0")
    assert pipeline.sweep(at=NOW).judged == Judged.objects.count()


def test_a_poisonous_boiler_is_counted_and_alerted_and_stops_nobody(
    clear: Fleet, monkeypatch: pytest.MonkeyPatch
) -> None:
    Judged.objects.update(build="r0.c1.t0")
    poisonous = clear.bench().boiler.id
    _poison(monkeypatch, poisonous)
    swept = pipeline.sweep(at=NOW)
    assert (swept.failed, swept.judged) == (1, Judged.objects.count() - 1)
    assert Alert.objects.get(condition="cannot_be_judged").boiler_id == poisonous


def test_a_boiler_that_can_be_judged_again_returns_its_alert_to_normal(
    clear: Fleet, monkeypatch: pytest.MonkeyPatch
) -> None:
    Judged.objects.update(build="r0.c1.t0")
    with monkeypatch.context() as poisoned:
        _poison(poisoned, clear.bench().boiler.id)
        pipeline.sweep(at=NOW)
    pipeline.sweep(at=NOW + timedelta(hours=2))
    assert Alert.objects.get(condition="cannot_be_judged").until == NOW + timedelta(hours=2)


def _poison(monkeypatch: pytest.MonkeyPatch, poisonous: object) -> None:
    """Evidence of one boiler that no rule can read."""
    real = conclude.judge

    def judge(evidence: Any, **options: Any) -> Any:
        if evidence.boiler == poisonous:
            raise ZeroDivisionError
        return real(evidence, **options)

    monkeypatch.setattr(conclude, "judge", judge)


def test_a_visit_ends_the_alerts_that_time_raised(clear: Fleet) -> None:
    pipeline.sweep(at=REMIND)
    clear.post(clear.flushed(REMIND + timedelta(hours=1)), at=REMIND + timedelta(hours=1))
    assert Alert.objects.get(condition="due", since=REMIND).until == REMIND + timedelta(hours=1)
    assert Visit.objects.count() == 3
