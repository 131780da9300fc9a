"""Who is called of a hold, at which minute, in whose place; acknowledgment, return, and nobody left to tell."""

from datetime import datetime, timedelta

import pytest

from fleet import pipeline
from fleet.accounts.absences import AbsenceRequest, record_absence
from fleet.accounts.models import Grant, User
from fleet.alerts.acts import AlertDecision
from fleet.alerts.models import Alert
from fleet.notices.models import AlertCall, CallList, Destination, Notice
from tests.cast import DAY, NOW, Fleet
from tests.notices.reach import give_address, staff, told
from tests.stories import story

pytestmark = pytest.mark.django_db
MINUTE, SECOND, HOUR = timedelta(minutes=1), timedelta(seconds=1), timedelta(hours=1)


@story
def staffed(fleet: Fleet) -> None:
    """Serviced a month ago; manager, dispatcher, owner and caretaker can be reached."""
    staff(fleet)
    fleet.post(fleet.serviced(NOW - 30 * DAY), at=NOW - 30 * DAY)


@story
def held(fleet: Fleet) -> None:
    """The burner kept firing during a flush, just now."""
    fleet.post(fleet.flushed(NOW, burner_stopped=False), at=NOW)


def person(name: str) -> User:
    return User.objects.get(username=name)


def decide(decision: AlertDecision, at: datetime) -> None:
    for row in Alert.objects.filter(until=None, level="hold", acknowledged_at=None):
        pipeline.act_on_alert(alert=row.id, decision=decision, version=row.version, by=person("manager1"), at=at)


def test_a_hold_is_told_to_caretaker_and_manager_in_the_transaction_that_found_it(staffed: Fleet, held: Fleet) -> None:
    assert told() == [("bram", NOW), ("manager1", NOW)]


def test_the_call_begins_with_the_first_act_and_carries_the_caution(staffed: Fleet, held: Fleet) -> None:
    text = Notice.objects.get(kind="call", user=staffed.caretaker).text
    assert text.splitlines()[0].startswith("SWITCH THE BURNER OFF BY HAND")
    assert "the burner kept firing" in text.lower()
    assert "never a permission" in text


def test_what_belongs_together_is_one_message_worst_first(staffed: Fleet, held: Fleet) -> None:
    notice = Notice.objects.get(kind="call", user=staffed.caretaker)
    conditions = [one["condition"] for one in notice.data["alerts"]]
    assert conditions == sorted(conditions, key=["hold_but_firing", "hold", "building_without_heat"].index)
    assert AlertCall.objects.filter(user=staffed.caretaker).count() == len(conditions)


# Of "on hold, but firing" the dispatcher is told after 10 minutes and the owner after 20.
@pytest.mark.parametrize(
    ("at", "names"),
    [
        (NOW + 10 * MINUTE - SECOND, {"bram", "manager1"}),
        (NOW + 10 * MINUTE, {"bram", "manager1", "dispatcher1"}),
        (NOW + 20 * MINUTE - SECOND, {"bram", "manager1", "dispatcher1"}),
        (NOW + 20 * MINUTE, {"bram", "manager1", "dispatcher1", "owner1"}),
    ],
)
def test_the_next_one_is_called_at_the_minute_of_the_list(
    staffed: Fleet, held: Fleet, at: datetime, names: set[str]
) -> None:
    pipeline.sweep(at=at)
    assert {name for name, _ in told()} == names


def test_two_sweeps_at_one_moment_call_nobody_twice(staffed: Fleet, held: Fleet) -> None:
    pipeline.sweep(at=NOW + 30 * MINUTE)
    before = Notice.objects.count()
    pipeline.sweep(at=NOW + 30 * MINUTE)
    assert Notice.objects.count() == before


def test_an_acknowledgment_stops_the_calling_for_four_hours(staffed: Fleet, held: Fleet) -> None:
    decide(AlertDecision("acknowledged", "On my way."), NOW + 5 * MINUTE)
    pipeline.sweep(at=NOW + 5 * MINUTE + 4 * HOUR - SECOND)
    assert {name for name, _ in told()} == {"bram", "manager1"}
    pipeline.sweep(at=NOW + 5 * MINUTE + 4 * HOUR)
    assert [name for name, at in told() if at > NOW] == ["bram", "manager1"]


def test_what_is_shelved_is_not_called_until_the_shelving_ends(staffed: Fleet, held: Fleet) -> None:
    decide(AlertDecision("shelved", "The house is empty.", NOW + DAY), NOW + MINUTE)
    pipeline.sweep(at=NOW + DAY - SECOND)
    assert {name for name, _ in told()} == {"bram", "manager1"}
    pipeline.sweep(at=NOW + DAY)
    assert [name for name, at in told() if at > NOW] == ["bram", "manager1"]


def test_after_a_shelving_the_whole_list_is_called_anew_also_where_all_were_called_before(
    staffed: Fleet, held: Fleet
) -> None:
    pipeline.sweep(at=NOW + HOUR)
    decide(AlertDecision("acknowledged", "On my way."), NOW + HOUR)
    for row in Alert.objects.filter(until=None, level="hold"):
        shelving = AlertDecision("shelved", "The house is empty.", NOW + DAY)
        pipeline.act_on_alert(alert=row.id, decision=shelving, version=row.version, by=person("owner1"), at=NOW + HOUR)
    pipeline.sweep(at=NOW + DAY)
    assert [name for name, at in told() if at > NOW + HOUR] == ["bram", "manager1"]
    assert not Alert.objects.filter(condition="nobody_to_tell", until=None).exists()
    pipeline.sweep(at=NOW + DAY + 30 * MINUTE)
    assert [name for name, at in told() if at > NOW + DAY] == ["dispatcher1", "owner1"]


def test_the_return_to_normal_is_told_to_whoever_was_called_and_to_nobody_else(staffed: Fleet, held: Fleet) -> None:
    staffed.post(staffed.repaired(NOW + HOUR), at=NOW + 2 * HOUR)
    returned = {name for name, _ in told("returned")}
    called = set(AlertCall.objects.values_list("user__username", flat=True))
    assert returned == called == {"bram", "manager1"}
    assert not AlertCall.objects.filter(returned=False, alert__condition="hold").exists()


def test_somebody_who_is_away_is_represented_by_the_stand_in(staffed: Fleet) -> None:
    give_address(person("dispatcher1"), "chat")
    manager, dispatcher = person("manager1"), person("dispatcher1")
    request = AbsenceRequest(manager.id, NOW - DAY, NOW + DAY, dispatcher.id, "holiday")
    record_absence(portfolio=staffed.portfolio.id, request=request, by=manager, at=NOW - DAY)
    staffed.post(staffed.flushed(NOW, burner_stopped=False), at=NOW)
    assert {name for name, _ in told()} == {"bram", "dispatcher1"}
    assert "in place of manager1" in Notice.objects.get(user=dispatcher).text


def test_where_the_stand_in_is_away_too_the_next_step_comes_at_once(staffed: Fleet) -> None:
    manager, dispatcher, bram = person("manager1"), person("dispatcher1"), staffed.caretaker
    for who, stand_in in ((manager, bram.id), (bram, manager.id)):
        request = AbsenceRequest(who.id, NOW - DAY, None, stand_in, "sick")
        record_absence(portfolio=staffed.portfolio.id, request=request, by=dispatcher, at=NOW - DAY)
    staffed.post(staffed.flushed(NOW, burner_stopped=False), at=NOW)
    assert {name for name, _ in told()} == {"dispatcher1"}


# The last step of "hold" comes after 30 minutes; after a quarter of an hour more nobody is left.
@pytest.mark.parametrize(("after", "is_raised"), [(45 * MINUTE - SECOND, False), (45 * MINUTE, True)])
def test_that_nobody_is_left_to_tell_is_an_alert_of_its_own(
    staffed: Fleet, held: Fleet, after: timedelta, is_raised: bool
) -> None:
    Alert.objects.filter(condition="hold_but_firing").update(until=NOW)
    pipeline.sweep(at=NOW + after)
    assert Alert.objects.filter(condition="nobody_to_tell", until=None).exists() is is_raised


def test_the_alert_that_nobody_is_left_ends_when_somebody_answers(staffed: Fleet, held: Fleet) -> None:
    pipeline.sweep(at=NOW + HOUR)
    assert Alert.objects.filter(condition="nobody_to_tell", until=None).count() == 1
    decide(AlertDecision("acknowledged", "On my way."), NOW + HOUR + MINUTE)
    pipeline.sweep(at=NOW + HOUR + 2 * MINUTE)
    assert not Alert.objects.filter(condition="nobody_to_tell", until=None).exists()


def test_a_hold_from_before_anybody_gave_an_address_is_told_once_somebody_does(fleet: Fleet) -> None:
    fleet.post(fleet.flushed(NOW, burner_stopped=False), at=NOW)
    assert told() == []
    give_address(fleet.caretaker, at=NOW + HOUR)
    pipeline.sweep(at=NOW + 2 * HOUR)
    assert told() == [("bram", NOW + 2 * HOUR)]


def test_a_building_may_have_a_list_of_its_own(staffed: Fleet) -> None:
    building = staffed.bench().boiler.building
    lines = [
        {"condition": c, "level": "any", "after_minutes": 0, "hears": "@owner1", "channel": ""}
        for c in ("danger", "hold", "hold_but_firing", "building_without_heat")
    ]
    CallList.objects.create(
        portfolio=staffed.portfolio, building=building, lines=lines, at=NOW, by=person("owner1"), number=1
    )
    staffed.post(staffed.flushed(NOW, burner_stopped=False), at=NOW)
    assert {name for name, _ in told()} == {"owner1"}


def test_a_check_of_a_visit_tells_nobody(staffed: Fleet) -> None:
    pipeline.check_visit(staffed.flushed(NOW, burner_stopped=False), by=staffed.technician, at=NOW)
    assert told() == []


def test_an_address_that_is_not_confirmed_or_has_ended_hears_nothing(staffed: Fleet) -> None:
    Destination.objects.filter(user=staffed.caretaker).update(confirmed_at=None)
    Destination.objects.filter(user__username="manager1").update(ended_at=NOW - DAY)
    staffed.post(staffed.flushed(NOW, burner_stopped=False), at=NOW)
    assert {name for name, _ in told()} == {"dispatcher1"}


def test_an_acknowledged_cold_building_is_not_called_of_until_four_hours_later(staffed: Fleet, held: Fleet) -> None:
    staffed.post(staffed.flushed(NOW, "ALD12 B2", burner_stopped=False), at=NOW)
    assert Alert.objects.filter(condition="building_without_heat", until=None).count() == 1
    decide(AlertDecision("acknowledged", "On my way."), NOW + MINUTE)
    assert Alert.objects.get(condition="building_without_heat").acknowledged_at == NOW + MINUTE
    pipeline.sweep(at=NOW + 4 * HOUR)
    assert {name for name, _ in told()} == {"bram", "manager1", "dispatcher1"}
    pipeline.sweep(at=NOW + MINUTE + 4 * HOUR)
    assert {name for name, at in told() if at > NOW + 4 * HOUR} == {"bram", "manager1", "dispatcher1"}


def test_a_cold_building_that_was_shelved_is_called_of_when_the_shelving_ends(staffed: Fleet, held: Fleet) -> None:
    staffed.post(staffed.flushed(NOW, "ALD12 B2", burner_stopped=False), at=NOW)
    decide(AlertDecision("shelved", "The house is empty.", NOW + DAY), NOW + MINUTE)
    for at, status in ((NOW + DAY - SECOND, "shelved"), (NOW + DAY, "raised")):
        pipeline.sweep(at=at)
        assert Alert.objects.get(condition="building_without_heat").status == status
    called = AlertCall.objects.filter(alert__condition="building_without_heat", at=NOW + DAY)
    assert {call.user.username for call in called} == {"manager1", "dispatcher1"}


def test_the_end_of_the_only_address_raises_an_alert_where_somebody_was_told_before(staffed: Fleet) -> None:
    Destination.objects.filter(confirmed_at__isnull=False).update(
        ended_at=NOW, end_reason="refused", failing_since=NOW, failures=1
    )
    staffed.post(staffed.flushed(NOW, burner_stopped=False), at=NOW)
    pipeline.sweep(at=NOW + HOUR)
    assert Alert.objects.filter(condition="nobody_to_tell", until=None).count() == 1
    assert Alert.objects.filter(condition="notices_failing", until=None).count() == 4


def test_the_alert_of_a_failing_address_ends_when_its_person_removes_it(staffed: Fleet) -> None:
    Destination.objects.update(ended_at=NOW, end_reason="refused", failing_since=NOW, failures=1)
    pipeline.sweep(at=NOW + HOUR)
    Destination.objects.update(end_reason="removed")
    pipeline.sweep(at=NOW + 2 * HOUR)
    assert not Alert.objects.filter(condition="notices_failing", until=None).exists()


def test_whoever_has_two_roles_gives_the_time_of_the_second_to_the_next_step(staffed: Fleet) -> None:
    Destination.objects.filter(user__username="dispatcher1").update(ended_at=NOW - DAY)
    make_grant = Grant.objects.create
    make_grant(user=person("manager1"), portfolio=staffed.portfolio, role="dispatcher")
    staffed.post(staffed.flushed(NOW, burner_stopped=False), at=NOW)
    pipeline.sweep(at=NOW + 10 * MINUTE)
    assert {name for name, _ in told()} == {"bram", "manager1", "owner1"}
