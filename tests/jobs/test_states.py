"""What may follow what: every state is reached, ends are ends, and everything people do is in the table."""

import pytest

from fleet.jobs import states


def reached(start: str) -> set[str]:
    """Every state one can get to."""
    found: set[str] = set()
    look = [start]
    while look:
        here = look.pop()
        if here not in found:
            found.add(here)
            look += states.TRANSITIONS[here].values()
    return found


def test_every_state_is_reached_from_the_first() -> None:
    assert reached(states.TO_PLAN) == set(states.TRANSITIONS)


def test_what_is_over_leads_nowhere() -> None:
    assert {s for s, following in states.TRANSITIONS.items() if not following} == states.OVER


def test_every_state_is_waiting_asked_held_or_over() -> None:
    parts = [states.WAITING, {states.ASKED}, states.HELD_STATUSES, states.OVER]
    assert (set().union(*parts), sum(map(len, parts))) == (set(states.TRANSITIONS), len(states.TRANSITIONS))


@pytest.mark.parametrize("status", sorted(states.WAITING | states.DATED))
def test_whatever_is_not_over_can_be_proven(status: str) -> None:
    assert states.status_after(status, "all_settled") == states.PROVEN


@pytest.mark.parametrize("status", sorted(states.DATED))
def test_whatever_has_a_day_comes_back_after_its_day(status: str) -> None:
    assert states.status_after(status, "day_passed") == states.MISSED


def test_only_what_is_accepted_is_started() -> None:
    assert [s for s in states.TRANSITIONS if states.status_after(s, "start")] == [states.ACCEPTED]
