"""What ends that a safety valve was blocked: a lift after the work, or a new valve with both its ways seen clear."""

import pytest

from fleet.rules.values import EntryFact, Standing, Value
from tests.rules.build import act, swap
from tests.rules.plant import Plant, look, proof

NEW = swap("valve", set_psi=15.0, capacity_lb_h=2_000.0)
BLOCKED = ["valve_blocked", "valve_can_be_shut", "discharge_plugged"]


def checked(**ways: Value) -> EntryFact:
    """A look at a valve that was just fitted, sealed, stamped and dated."""
    return proof("valve", "new_valve_check", **ways)


CLEAR = checked(opening_clear=True, discharge_clear=True)


def after(seen: str, *entries: EntryFact, who: str = "technician") -> Plant:
    return Plant().service().visit(1, look("valve", seen)).visit(2, *entries, who=who)


@pytest.mark.parametrize("seen", BLOCKED)
@pytest.mark.parametrize(
    ("opening", "discharge", "ends"),
    [(True, True, True), (True, None, False), (None, True, False), (None, None, False), (True, False, False)],
)
def test_a_new_valve_ends_it_only_where_both_ways_were_seen_clear(
    seen: str, opening: bool | None, discharge: bool | None, ends: bool
) -> None:
    boiler = after(seen, NEW, checked(opening_clear=opening, discharge_clear=discharge))
    assert boiler.open("valve") == ([] if ends else ["valve_blocked"])
    assert (boiler.standing(2.1) is Standing.HOLD) is not ends


@pytest.mark.parametrize(
    ("entries", "ends"),
    [
        ((act("valve", "clear"), proof("valve")), True),
        ((proof("valve"),), False),
        ((act("valve", "clear"), CLEAR), False),
        ((NEW, proof("valve")), True),
        ((NEW, proof("valve", gauge_psi=3.0)), False),
        ((CLEAR, NEW), False),
    ],
)
def test_a_lift_after_the_work_ends_it_and_a_look_at_the_old_valve_does_not(
    entries: tuple[EntryFact, ...], ends: bool
) -> None:
    assert (after("valve_blocked", *entries).open("valve") == []) is ends


@pytest.mark.parametrize("who", ["", "operator", "fire_side", "inspector"])
def test_nobody_but_a_technician_ends_it_by_a_new_valve(who: str) -> None:
    assert after("valve_blocked", NEW, CLEAR, who=who).open("valve") == ["valve_blocked"]


def test_what_is_found_blocked_behind_a_new_valve_is_not_ended_by_the_look_before() -> None:
    boiler = Plant().service().visit(1, NEW, CLEAR).visit(2, look("valve", "discharge_plugged"))
    assert boiler.visit(3, CLEAR).open("valve") == ["valve_blocked"]
