"""Every combination of states for up to three protections, against the table of the domain said once more, plainly."""

from collections.abc import Iterator, Sequence
from itertools import product

import pytest

from fleet.rules.catalogue import Hazard, RoleSpec
from fleet.rules.timeline.standing import BoilerView, OpenCase, PositionState, decide_standing
from fleet.rules.values import Level, Reason, ServiceMode, Standing, State
from tests.rules.build import START, ident

STOPS, SLOW = Hazard("dry_firing", "Dry firing", True), Hazard("flue_gas", "Flue gas", False)
BAD = {"not_fitted", "failed", "intermittent"}
GOOD = {"proven", "due"}


def role(hazard: str, order: int, last: bool, part: str = "protection") -> RoleSpec:
    return RoleSpec(f"{hazard}{order}", "", part, hazard, order, last, frozenset())


def seen(r: RoleSpec, state: State, needed: bool = True) -> PositionState:
    reason = Reason(state.value, f"{r.code} is {state.value}")
    return PositionState(ident(r.code), r, needed, state, reason)


def view(
    members: Sequence[PositionState],
    cases: Sequence[Level] = (),
    surveyed: bool = True,
    service: ServiceMode = ServiceMode.IN_SERVICE,
) -> BoilerView:
    told = [OpenCase(level, Reason(f"r{n}", f"{level} {n}")) for n, level in enumerate(cases)]
    return BoilerView(START, service, surveyed, [STOPS, SLOW], members, told)


def expected(states: Sequence[str], last: int | None, stops: bool, cases: Sequence[Level]) -> str:
    """Section 5 of the domain, row by row; `last` is the place of the last line among the needed protections."""
    nothing_stands = bool(states) and not GOOD & set(states)
    some_bad = bool(BAD & set(states))
    last_state = states[last] if last is not None and last < len(states) else "proven"
    if "hold" in cases or last_state in BAD or (stops and nothing_stands and some_bad):
        return "hold"
    if stops and (nothing_stands or last_state in {"lapsed", "never_proven"}):
        return "exposed"
    if some_bad or "urgent" in cases:
        return "impaired"
    if {"due", "lapsed", "never_proven"} & set(states):
        return "due"
    return "clear"


def combinations() -> Iterator[tuple[State, ...]]:
    for count in range(4):
        yield from product(State, repeat=count)


@pytest.mark.parametrize("cases", [(), (Level.ROUTINE,), (Level.URGENT,), (Level.HOLD,)])
@pytest.mark.parametrize("last", [None, 0, 1, 2])
@pytest.mark.parametrize("hazard", [STOPS, SLOW])
def test_every_combination_of_up_to_three_states_follows_the_table(
    hazard: Hazard, last: int | None, cases: tuple[Level, ...]
) -> None:
    for states in combinations():
        members = [seen(role(hazard.code, n, n == last), s) for n, s in enumerate(states)]
        standing, reasons = decide_standing(view(members, cases))
        assert standing == expected([s.value for s in states], last, hazard.stops_firing, cases), states
        assert reasons
        assert all(r.sentence for r in reasons)


def test_two_hazards_are_judged_each_by_itself_and_the_worst_wins() -> None:
    for a, b, c, d in product(State, repeat=4):
        dry = [seen(role("dry_firing", 0, False), a), seen(role("dry_firing", 1, True), b)]
        flue = [seen(role("flue_gas", 0, False), c), seen(role("flue_gas", 1, False), d)]
        alone = [decide_standing(view(dry))[0], decide_standing(view(flue))[0]]
        assert decide_standing(view([*dry, *flue]))[0] == min(alone, key=lambda s: s.rank)


@pytest.mark.parametrize("state", State)
def test_a_protection_that_is_not_needed_never_counts(state: State) -> None:
    spare = seen(role("dry_firing", 1, True), state, needed=False)
    assert decide_standing(view([spare]))[0] is Standing.CLEAR


@pytest.mark.parametrize(
    ("state", "standing"),
    [
        (State.FAILED, Standing.IMPAIRED),
        (State.INTERMITTENT, Standing.IMPAIRED),
        (State.LAPSED, Standing.DUE),
        (State.NEVER_PROVEN, Standing.DUE),
        (State.DUE, Standing.DUE),
        (State.PROVEN, Standing.CLEAR),
        (State.NOT_FITTED, Standing.CLEAR),
    ],
)
def test_an_initiator_is_watched_and_never_counted(state: State, standing: Standing) -> None:
    assert decide_standing(view([seen(role("dry_firing", 0, False, "initiator"), state, needed=False)]))[0] is standing


@pytest.mark.parametrize("state", sorted(BAD))
def test_a_needed_output_path_that_is_down_is_a_hold(state: str) -> None:
    path = seen(role("dry_firing", 0, False, "output_path"), State(state))
    assert decide_standing(view([path]))[0] is Standing.HOLD


def test_a_hazard_without_needed_protection_has_no_effect() -> None:
    assert decide_standing(view([]))[0] is Standing.CLEAR


@pytest.mark.parametrize(
    ("cases", "standing"),
    [
        ((), Standing.NOT_SURVEYED),
        ((Level.ROUTINE,), Standing.NOT_SURVEYED),
        ((Level.URGENT,), Standing.IMPAIRED),
        ((Level.HOLD,), Standing.HOLD),
    ],
)
def test_before_the_survey_holds_and_deficiencies_show_and_never_clear(
    cases: tuple[Level, ...], standing: Standing
) -> None:
    never = seen(role("dry_firing", 0, True), State.NEVER_PROVEN)
    decided, reasons = decide_standing(view([never], cases, surveyed=False))
    assert decided is standing
    assert len(reasons) >= len(cases)


@pytest.mark.parametrize("service", [s for s in ServiceMode if not s.runs])
def test_off_silences_lapses_and_still_shows_every_deficiency(service: ServiceMode) -> None:
    lapsed = seen(role("dry_firing", 0, True), State.LAPSED)
    standing, reasons = decide_standing(view([lapsed], [Level.ROUTINE, Level.HOLD, Level.URGENT], service=service))
    assert standing is Standing.OFF
    assert [r.sentence for r in reasons[1:]] == ["hold 1", "urgent 2", "routine 0"]
