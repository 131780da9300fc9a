"""The clock times shown are those of the calls that are made when nobody answers, for any list, role and absence."""

from datetime import timedelta

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fleet.accounts.models import Absence, Grant, User
from fleet.alerts.models import Alert
from fleet.notices.call_list.clock_times import call_times
from fleet.notices.call_list.lines import CallLine
from fleet.notices.models import AlertCall, CallList
from fleet.pipeline import telling
from fleet.portfolio.models import Building
from tests.cast import DAY, NOW, Fleet
from tests.notices.reach import give_address
from tests.stories import story

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)
NAMES = ("ann", "ben", "cleo", "dora")
ROLES = ("caretaker", "manager", "dispatcher", "owner")
STEP_MINUTES = (0, 5, 10, 20)


@story
def held(fleet: Fleet) -> None:
    """On hold since just now; nobody has an address yet, and four people without roles."""
    fleet.post(fleet.serviced(NOW - 30 * DAY), at=NOW - 30 * DAY)
    fleet.post(fleet.flushed(NOW, burner_stopped=False), at=NOW)
    Alert.objects.exclude(condition="hold").update(until=NOW)
    for name in NAMES:
        User.objects.create_user(name, password="oak-valve-2609")


lines = st.lists(
    st.tuples(st.sampled_from(STEP_MINUTES), st.sampled_from([*ROLES, *(f"@{name}" for name in NAMES)])),
    min_size=1,
    max_size=6,
)
grants = st.lists(st.tuples(st.sampled_from(NAMES), st.sampled_from(ROLES), st.booleans()), max_size=6, unique=True)
absences = st.dictionaries(st.sampled_from(NAMES), st.sampled_from([None, *NAMES]), max_size=3)
reachable_names = st.sets(st.sampled_from(NAMES))


def set_up(
    fleet: Fleet,
    rows: list[tuple[int, str]],
    roles: list[tuple[str, str, bool]],
    away: dict[str, str | None],
    with_address: set[str],
) -> None:
    people = {user.username: user for user in User.objects.all()}
    elsewhere = Building.objects.create(portfolio=fleet.portfolio, ref="ELSE", address="2 Elm", zone="UTC")
    for name, role, is_whole in roles:
        house = None if is_whole else elsewhere
        Grant.objects.create(user=people[name], portfolio=fleet.portfolio, role=role, building=house)
    for name, stand_in in away.items():
        Absence.objects.create(
            portfolio=fleet.portfolio,
            user=people[name],
            since=NOW - DAY,
            stand_in=people[stand_in] if stand_in else None,
            reason="sick",
            recorded_at=NOW - DAY,
            recorded_by=people["ann"],
        )
    for name in with_address:
        give_address(people[name])
    stored = [CallLine("hold", "any", after, hears).as_json() for after, hears in rows]
    CallList.objects.create(portfolio=fleet.portfolio, lines=stored, at=NOW, by=people["ann"], number=1)


def calls_made(minutes: int) -> dict[str, int]:
    made: dict[str, int] = {}
    for minute in range(minutes + 1):
        telling.sweep_notices(at=NOW + minute * MINUTE)
        for call in AlertCall.objects.filter(alert__condition="hold").select_related("user"):
            made.setdefault(call.user.username, minute)
    return made


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=lines, roles=grants, away=absences, with_address=reachable_names)
def test_the_clock_times_shown_are_the_calls_made_when_nobody_answers(
    held: Fleet,
    rows: list[tuple[int, str]],
    roles: list[tuple[str, str, bool]],
    away: dict[str, str | None],
    with_address: set[str],
) -> None:
    with transaction.atomic():  # taken back after each example: calls and notices are never deleted
        set_up(held, rows, roles, away, with_address)
        shown = call_times(building=held.bench().boiler.building, condition="hold", level="hold", at=NOW)
        expected = {person.user.username: (time.at - NOW) // MINUTE for time in shown for person in time.people}
        made = calls_made(max(STEP_MINUTES))
        transaction.set_rollback(True)
    assert made == expected
