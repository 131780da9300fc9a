"""Acknowledged and shelved: until the end, a higher class, or the return to normal; and through late evidence."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.db.utils import DatabaseError

from fleet import pipeline
from fleet.alerts import services
from fleet.alerts.acts import AlertDecision
from fleet.alerts.models import Alert, AlertAct
from fleet.board.models import Change, Judged
from fleet.errors import Refused
from fleet.records.events import Cause
from fleet.rules.values import Condition, Level
from fleet.visits.incoming import IncomingEntry, IncomingVisit
from tests.cast import DAY, NOW, Fleet
from tests.site_role import as_tables_owner
from tests.stories import story

pytestmark = pytest.mark.django_db

HOUR = timedelta(hours=1)
SECOND = timedelta(seconds=1)
ACKNOWLEDGE = AlertDecision("acknowledged", "On my way.")
SHELVE = AlertDecision("shelved", "The house is empty until Monday.", NOW + 5 * DAY)


@story
def held(fleet: Fleet) -> None:
    """On hold since yesterday."""
    fleet.post(fleet.serviced(NOW - 30 * DAY), at=NOW - 30 * DAY)
    fleet.post(fleet.flushed(NOW - DAY, burner_stopped=False), at=NOW - DAY)


def hold() -> Alert:
    found: Alert = Alert.with_withdrawn.get(condition="hold")
    return found


def act(fleet: Fleet, decision: AlertDecision, at: datetime = NOW) -> Alert:
    row = hold()
    cause = Cause(who="rosa", request_id="phone-0001")
    return pipeline.act_on_alert(
        alert=row.id, decision=decision, version=row.version, by=fleet.technician, at=at, cause=cause
    )


def test_an_acknowledged_alert_stays_raised_and_says_so(held: Fleet) -> None:
    row = act(held, ACKNOWLEDGE)
    assert row.status == "acknowledged"
    assert row.until is None
    assert row.acknowledged_at == NOW


@pytest.mark.parametrize(
    ("at", "status"),
    [(NOW + 5 * DAY - SECOND, "shelved"), (NOW + 5 * DAY, "raised"), (NOW + 5 * DAY + SECOND, "raised")],
)
def test_a_shelved_alert_is_shown_again_at_its_end(held: Fleet, at: datetime, status: str) -> None:
    act(held, SHELVE)
    pipeline.sweep(at=at)
    assert hold().status == status


def test_the_end_of_a_shelving_is_a_boundary_and_news(held: Fleet) -> None:
    act(held, SHELVE)
    assert Judged.objects.get(boiler=held.bench().boiler).next_at <= NOW + 5 * DAY
    pipeline.sweep(at=NOW + 5 * DAY)
    assert Change.objects.filter(subject=hold().id, kind="alert.shown_again").count() == 1


def test_a_further_cause_of_hold_raises_an_acknowledged_alert_anew(held: Fleet) -> None:
    act(held, ACKNOWLEDGE)
    entry = IncomingEntry(act="observe", code="gas_smell", position=None, at=NOW + HOUR)
    held.post(held.visit(NOW + HOUR, [entry]), at=NOW + HOUR)
    row = hold()
    assert row.status == "raised"
    assert row.acknowledged_at is None
    assert row.times_raised == 2
    assert "Smell of gas" in row.sentence
    assert Change.objects.filter(subject=row.id, kind="alert.raised").count() == 2
    pipeline.sweep(at=NOW + 2 * HOUR)
    assert Change.objects.filter(subject=row.id, kind="alert.raised").count() == 2


def test_an_act_is_one_change_with_who_why_and_which_request(held: Fleet) -> None:
    row = act(held, SHELVE)
    change = Change.objects.get(subject=row.id, kind="alert.shelved")
    assert change.who == "rosa"
    assert change.request_id == "phone-0001"
    assert change.before == "raised"
    assert change.after == "shelved"
    assert change.sentence.startswith("Shelved until 17 Jan 2026 14:00 UTC.")


@pytest.mark.parametrize("decision", [ACKNOWLEDGE, SHELVE])
def test_the_return_to_normal_ends_it(held: Fleet, decision: AlertDecision) -> None:
    act(held, decision)
    held.post(held.repaired(NOW + HOUR), at=NOW + HOUR)
    row = hold()
    assert row.status == "returned"
    assert row.acknowledged_at is None
    assert row.shelved_until is None


def void(visit: IncomingVisit) -> IncomingVisit:
    return replace(visit, id=uuid4(), corrects=visit.id, reason="never was", void=True, entries=())


@pytest.mark.parametrize("decision", [ACKNOWLEDGE, SHELVE])
def test_a_return_that_never_was_shows_it_anew(held: Fleet, decision: AlertDecision) -> None:
    act(held, decision)
    repair = held.repaired(NOW + HOUR)
    held.post(repair, at=NOW + HOUR)
    held.post(void(repair), at=NOW + 2 * HOUR)
    assert (hold().status, AlertAct.objects.count()) == ("raised", 1)


def test_an_alert_whose_beginning_moves_keeps_its_row_and_its_acts(held: Fleet) -> None:
    row = act(held, ACKNOWLEDGE)
    held.post(held.flushed(NOW - 3 * DAY, burner_stopped=False))
    moved = hold()
    assert moved.id == row.id
    assert moved.since == NOW - 3 * DAY
    assert moved.status == "acknowledged"


def test_one_whose_cause_is_taken_away_is_kept_and_comes_back_with_it(held: Fleet) -> None:
    row = act(held, ACKNOWLEDGE)
    failed = held.flushed(NOW - DAY, burner_stopped=False)
    away = void(failed)
    held.post(away)
    assert hold().status == "acknowledged"  # out of a hold it waits for the second name
    held.second(away)
    gone = hold()
    held.post(replace(failed, id=uuid4(), corrects=away.id, reason="it was"), at=NOW + HOUR)
    back = hold()
    assert (gone.id, gone.status) == (row.id, "withdrawn")
    assert not Alert.objects.filter(condition="hold", withdrawn=True).exists()
    # What was decided then was decided on something else: it is looked at anew.
    assert back.id == row.id
    assert back.status == "raised"
    assert back.raised_at == NOW + HOUR
    assert [c.kind for c in Change.objects.filter(subject=row.id).order_by("version")] == [
        "alert.raised",
        "alert.acknowledged",
        "alert.withdrawn",
        "alert.raised",
    ]


def test_a_rebuild_writes_nothing_after_acts_moves_and_withdrawals(held: Fleet) -> None:
    act(held, SHELVE)
    assert pipeline.rebuild(at=NOW) == 0
    held.post(held.flushed(NOW - 3 * DAY, burner_stopped=False))
    assert pipeline.rebuild(at=NOW) == 0
    both = [void(held.flushed(NOW - days * DAY, burner_stopped=False)) for days in (3, 1)]
    held.post(*both)
    assert (hold().status, pipeline.rebuild(at=NOW)) == ("shelved", 0)
    held.second(*both)
    assert (hold().status, pipeline.rebuild(at=NOW)) == ("withdrawn", 0)


def reconcile(fleet: Fleet, *conditions: Condition, at: datetime = NOW) -> services.Reconciled:
    return services.reconcile_boiler(boiler=fleet.bench().boiler, conditions=conditions, at=at)


def rising(fleet: Fleet, level: Level) -> Condition:
    return Condition("makeup_rising", fleet.bench().boiler.id, NOW - DAY, None, level, "It rises.")


def decide(fleet: Fleet, kind: str, at: datetime) -> Alert:
    """Acknowledge or shelve beside the rules, which know no such alert here."""
    from fleet.alerts import acts

    row: Alert = Alert.objects.get(condition="makeup_rising")
    decision = AlertDecision(kind, "known", at + 9 * DAY if kind == "shelved" else None)
    acts.record_act(row=row, decision=decision, by=fleet.technician, at=at, request_id="")
    return row


@pytest.mark.parametrize("kind", ["acknowledged", "shelved"])
def test_a_higher_class_ends_both_and_a_lower_one_later_revives_neither(fleet: Fleet, kind: str) -> None:
    reconcile(fleet, rising(fleet, Level.ROUTINE))
    row = decide(fleet, kind, NOW)
    seen = []
    levels: Sequence[Level] = (Level.ROUTINE, Level.URGENT, Level.ROUTINE)
    for hours, level in enumerate(levels, start=1):
        news = reconcile(fleet, rising(fleet, level), at=NOW + hours * HOUR).events
        row.refresh_from_db()
        seen.append((row.status, [n.kind for n in news]))
    assert seen == [(kind, []), ("raised", ["alert.rose"]), ("raised", [])]


def test_a_lower_class_leaves_them(fleet: Fleet) -> None:
    reconcile(fleet, rising(fleet, Level.URGENT))
    row = decide(fleet, "acknowledged", NOW)
    reconcile(fleet, rising(fleet, Level.ROUTINE), at=NOW + HOUR)
    row.refresh_from_db()
    assert row.status == "acknowledged"


@pytest.mark.parametrize(
    ("until", "code"),
    [
        (None, "required"),
        (NOW, "in_the_past"),
        (NOW + SECOND, None),
        (NOW + 90 * DAY, None),
        (NOW + 91 * DAY, "too_long"),
    ],
)
def test_a_shelving_has_an_end_within_reach(held: Fleet, until: datetime | None, code: str | None) -> None:
    decision = replace(SHELVE, until=until)
    if code is None:
        assert act(held, decision).status == "shelved"
        return
    with pytest.raises(Refused) as refused:
        act(held, decision)
    assert [(f.code, f.at) for f in refused.value.faults] == [(code, ("until",))]


def test_a_shelving_says_why(held: Fleet) -> None:
    with pytest.raises(Refused) as refused:
        act(held, AlertDecision("shelved", " "))
    assert [f.at for f in refused.value.faults] == [("reason",), ("until",)]


def test_what_returned_is_not_decided_on(held: Fleet) -> None:
    held.post(held.repaired(NOW))
    with pytest.raises(Refused) as refused:
        act(held, ACKNOWLEDGE)
    assert (refused.value.status, refused.value.faults[0].code) == (409, "not_raised")


def test_a_decision_on_another_version_is_stale(held: Fleet) -> None:
    row = hold()
    with pytest.raises(Refused) as refused:
        pipeline.act_on_alert(alert=row.id, decision=ACKNOWLEDGE, version=row.version - 1, by=held.technician, at=NOW)
    assert (refused.value.status, refused.value.faults[0].code) == (412, "stale")


@pytest.mark.parametrize("statement", ["DELETE FROM {}", "UPDATE {} SET reason = 'x'"])
def test_an_act_is_neither_changed_nor_removed(held: Fleet, statement: str) -> None:
    act(held, ACKNOWLEDGE)
    with (
        pytest.raises(DatabaseError, match="never changed or removed"),
        as_tables_owner(),
        connection.cursor() as cursor,
    ):
        cursor.execute(statement.format("alerts_act"))
