"""What people decide about a deficiency: recorded once, shown, told, and without effect on what is known."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.db.utils import DatabaseError

from fleet import pipeline
from fleet.accounts.models import Qualification
from fleet.board.models import Change, Pulse
from fleet.deficiencies.acts import DeficiencyDecision
from fleet.deficiencies.models import Deficiency, DeficiencyAct
from fleet.errors import Refused
from tests.cast import DAY, NOW, Fleet, conclusions, make_person, standing
from tests.deficiencies.people import DEFER, EXPLAIN, HOUR, REPORT, Desk, desk, dirty, failed, told
from tests.site_role import as_tables_owner
from tests.stories import story

pytestmark = pytest.mark.django_db
SECOND = timedelta(seconds=1)


@pytest.fixture
def office(fleet: Fleet) -> Desk:
    return desk(fleet)


@story
def on_hold(fleet: Fleet) -> None:
    """By yesterday's flush."""
    failed(fleet)


@story
def with_mud(fleet: Fleet) -> None:
    """Seen by yesterday's flush."""
    dirty(fleet)


@pytest.fixture
def hold(on_hold: Fleet) -> Deficiency:
    return Deficiency.objects.get(rule="flush_keeps_firing")


@pytest.fixture
def routine(with_mud: Fleet) -> Deficiency:
    return Deficiency.objects.get(rule="flush_dirty")


def codes(refused: pytest.ExceptionInfo[Refused]) -> list[tuple[str, tuple[str | int, ...]]]:
    return [(f.code, f.at) for f in refused.value.faults]


def test_it_goes_from_open_over_assigned_and_repaired_to_closed(office: Desk, hold: Deficiency) -> None:
    seen = [told(hold).life.status]
    office.act(hold, office.assigned())
    seen.append(told(hold).life.status)
    office.act(hold, REPORT, by=office.fleet.technician)
    seen.append(told(hold).life.status)
    office.fleet.post(office.fleet.repaired(NOW))
    seen.append(told(hold).life.status)
    assert seen == ["open", "assigned", "repaired", "closed"]


def test_what_is_decided_changes_nothing_that_is_known(office: Desk, routine: Deficiency) -> None:
    before = conclusions(office.fleet.bench().boiler.id)
    for decision in (office.assigned(), REPORT, DEFER, EXPLAIN):
        office.act(routine, decision)
    after = conclusions(office.fleet.bench().boiler.id)
    assert {**after, "Alert": before["Alert"]} == before
    # A claim of repair is itself something that somebody should know.
    assert [a[0] for a in after["Alert"] if a not in before["Alert"]] == ["repaired_not_proven"]
    assert standing(office.fleet.bench()) == "clear"


def test_a_rebuild_writes_nothing_after_every_kind_of_act(office: Desk, routine: Deficiency) -> None:
    for decision in (office.assigned(), REPORT, DEFER, EXPLAIN):
        office.act(routine, decision)
    assert pipeline.rebuild(at=NOW) == 0
    assert DeficiencyAct.objects.count() == 4


def test_an_act_is_one_change_with_who_why_and_which_request(office: Desk, hold: Deficiency) -> None:
    before = Pulse.objects.get().version
    office.act(hold, office.assigned(reason="It is his street."))
    change = Change.objects.get(version=before + 1)
    assert change.kind == "deficiency.assigned"
    assert change.subject == hold.id
    assert change.before == "open"
    assert change.after == "assigned"
    assert change.who == "ines"
    assert change.request_id == "desk-00001"
    assert change.rule == hold.rule
    assert change.at == NOW
    assert change.sentence.startswith("Assigned to rosa")


def test_a_claim_of_repair_alone_is_repaired_and_not_proven(office: Desk, hold: Deficiency) -> None:
    office.act(hold, REPORT)
    assert (told(hold).life.status, standing(office.fleet.bench())) == ("repaired", "hold")


def test_the_acts_are_handed_to_the_rules(office: Desk, routine: Deficiency, monkeypatch: pytest.MonkeyPatch) -> None:
    from fleet.pipeline import conclude

    seen: list[Any] = []
    real = conclude.judge
    monkeypatch.setattr(conclude, "judge", lambda e, acts, **how: seen.append(acts) or real(e, acts=acts, **how))
    office.act(routine, DEFER)
    office.act(routine, REPORT)
    assert [(a.kind, a.subject, a.at, a.until) for a in seen[-1]] == [
        ("repair_reported", routine.id, NOW - HOUR, None),
        ("deferred", routine.id, NOW, NOW + 5 * DAY),
    ]


def test_a_failure_after_the_repair_takes_the_claim_away(office: Desk, hold: Deficiency) -> None:
    office.act(hold, REPORT)
    office.fleet.post(office.fleet.flushed(NOW - HOUR + SECOND, burner_stopped=False))
    assert told(hold).life.status == "open"
    assert pipeline.rebuild(at=NOW) == 0


@pytest.mark.parametrize(
    ("at", "until"),
    [(NOW, NOW + 5 * DAY), (NOW + 5 * DAY - SECOND, NOW + 5 * DAY), (NOW + 5 * DAY, None)],
)
def test_a_deferral_ends_at_its_end(office: Desk, routine: Deficiency, at: object, until: object) -> None:
    office.act(routine, DEFER)
    assert told(routine, at).life.deferred_until == until  # type: ignore[arg-type]


def test_what_holds_a_boiler_is_not_deferred(office: Desk, hold: Deficiency) -> None:
    with pytest.raises(Refused) as refused:
        office.act(hold, DEFER)
    assert (codes(refused), refused.value.status) == ([("hold_is_not_deferred", ())], 422)
    assert DeficiencyAct.objects.count() == 0


def test_a_deferral_says_why_and_ends_in_the_future_all_faults_at_once(office: Desk, hold: Deficiency) -> None:
    with pytest.raises(Refused) as refused:
        office.act(hold, DeficiencyDecision("deferred", " ", until=NOW))
    assert codes(refused) == [("required", ("reason",)), ("in_the_past", ("until",)), ("hold_is_not_deferred", ())]


@pytest.mark.parametrize(
    ("done_at", "code"),
    [
        (NOW - DAY - SECOND, "before_it_was_found"),
        (NOW - DAY, None),
        (NOW + timedelta(minutes=10), None),
        (NOW + timedelta(minutes=10, seconds=1), "in_the_future"),
    ],
)
def test_a_repair_was_done_after_it_was_found_and_before_now(
    office: Desk, hold: Deficiency, done_at: object, code: str | None
) -> None:
    report = replace(REPORT, done_at=done_at)  # type: ignore[arg-type]
    if code is None:
        assert office.act(hold, report).version == hold.version + 1
        return
    with pytest.raises(Refused) as refused:
        office.act(hold, report)
    assert codes(refused) == [(code, ("done_at",))]


def test_it_is_assigned_only_to_somebody_known_in_that_building(office: Desk, hold: Deficiency) -> None:
    with pytest.raises(Refused) as refused:
        office.act(hold, replace(office.assigned(), assignee=office.fleet.outsider.id))
    assert codes(refused) == [("unknown_person", ("to",))]


def test_only_a_qualified_technician_explains(office: Desk, hold: Deficiency) -> None:
    unqualified = make_person("marta", office.fleet.portfolio, "manager")
    with pytest.raises(Refused) as refused:
        office.act(hold, EXPLAIN, by=unqualified)
    assert (codes(refused), refused.value.status) == ([("not_qualified", ())], 403)
    Qualification.objects.create(user=unqualified, code="technician", since=NOW)
    office.act(hold, EXPLAIN, by=unqualified)
    assert told(hold).life.explained is not None


def test_what_is_closed_is_not_decided_on(office: Desk, hold: Deficiency) -> None:
    office.fleet.post(office.fleet.repaired(NOW - HOUR))
    with pytest.raises(Refused) as refused:
        office.act(hold, office.assigned())
    assert (codes(refused), refused.value.status) == ([("not_open", ())], 409)


def test_a_decision_on_another_version_is_stale(office: Desk, hold: Deficiency) -> None:
    with pytest.raises(Refused) as refused:
        pipeline.act_on_deficiency(
            deficiency=hold.id, decision=office.assigned(), version=hold.version + 1, by=office.manager, at=NOW
        )
    assert (codes(refused), refused.value.status) == ([("stale", ("version",))], 412)


def test_new_evidence_about_it_makes_its_version_stale(office: Desk, hold: Deficiency) -> None:
    office.fleet.post(
        office.fleet.visit(NOW - HOUR, [office.fleet.bench().action_entry(NOW - HOUR, "open_clean", "upper")])
    )
    with pytest.raises(Refused) as refused:
        pipeline.act_on_deficiency(
            deficiency=hold.id, decision=office.assigned(), version=hold.version, by=office.manager, at=NOW
        )
    assert codes(refused) == [("stale", ("version",))]


@pytest.mark.parametrize("statement", ["DELETE FROM {}", "UPDATE {} SET reason = 'x'"])
def test_an_act_is_neither_changed_nor_removed(office: Desk, hold: Deficiency, statement: str) -> None:
    office.act(hold, REPORT)
    with (
        pytest.raises(DatabaseError, match="never changed or removed"),
        as_tables_owner(),
        connection.cursor() as cursor,
    ):
        cursor.execute(statement.format("deficiencies_act"))
