"""A pressure that was seen accuses by its rungs: control, limit, valve, and over a valve all that should have acted."""

from dataclasses import replace

import pytest

from fleet.rules.values import EntryFact, ServiceChange, ServiceMode, Value
from tests.rules.build import FITTED, act, turn
from tests.rules.plant import Plant, fit, look, proof

CONTROL = [("control_overrun", "control")]
LIMIT = [*CONTROL, ("limit_overrun", "limit")]
REST = [("presumed_by_valve", ref) for ref in ("fuel", "siphon_a", "siphon_b")]
ALL = sorted([*REST, ("presumed_by_valve", "control"), ("presumed_by_valve", "limit")])
DOUBTED, SHUT = [("pressure_over_valve", "valve")], [("valve_did_not_open", "valve")]
OVERRUNS = {"control_overrun", "limit_overrun", "presumed_by_valve", "pressure_over_valve", "valve_did_not_open"}

Accused = list[tuple[str, str]]


def accused(boiler: Plant, found: str = "firing") -> Accused:
    """Which rules fired, at which places."""
    boiler.visits[-1] = replace(boiler.visits[-1], state_on_arrival=found)
    places = {p.id: p.ref for p in boiler.evidence().positions}
    fired = [(f.rule, places[f.position]) for f in boiler.findings() if f.rule in OVERRUNS and f.position]
    return sorted(fired)


def seen(psi: float, **readings: Value) -> EntryFact:
    return proof("gauge", "pressure_observation", gauge_psi=psi, **readings)


# control opens at 2, limit trips at 8, valve is set at 15
FIRING: list[tuple[float, Accused]] = [
    (3.4, []),
    (3.5, []),
    (3.6, CONTROL),
    (9.9, CONTROL),
    (10.0, CONTROL),
    (10.1, LIMIT),
    (15.0, LIMIT),
    (15.1, [*LIMIT, *DOUBTED, *REST]),
    (16.9, [*LIMIT, *DOUBTED, *REST]),
    (17.0, [*LIMIT, *REST, *SHUT]),
    (17.1, [*LIMIT, *REST, *SHUT]),
]


@pytest.mark.parametrize(("psi", "rules"), FIRING)
def test_a_pressure_seen_while_it_fires_accuses_who_should_have_acted(psi: float, rules: Accused) -> None:
    assert accused(Plant().service().visit(1, seen(psi))) == sorted(rules)


@pytest.mark.parametrize("found", ["off", "no_power", "locked_out", "standing_by"])
@pytest.mark.parametrize(("psi", "rules"), [(14.9, []), (15.0, []), (15.1, [*DOUBTED, *ALL]), (17.0, [*ALL, *SHUT])])
def test_with_the_burner_off_only_what_stands_over_a_valve_accuses(found: str, psi: float, rules: Accused) -> None:
    assert accused(Plant().service().visit(1, seen(psi)), found) == sorted(rules)


@pytest.mark.parametrize(("said", "rules"), [(True, LIMIT), (False, []), (None, LIMIT)])
def test_what_was_read_of_the_burner_decides_who_is_accused(said: bool | None, rules: Accused) -> None:
    assert accused(Plant().service().visit(1, seen(12.0, burner_firing=said))) == rules


# what was done to the control before in the visit: whether it is accused too
WORK: list[tuple[list[EntryFact], bool]] = [
    ([], True),
    ([act("control", "adjust")], False),
    ([act("control", "calibrate")], False),
    ([act("control", "adjust"), act("control", "set_back")], True),
    ([act("control", "adjust"), turn("control", cut_out_psi=2.0)], True),
    ([act("control", "set_back"), act("control", "adjust")], False),
    ([act("control", "reset")], True),
    ([act("limit", "adjust")], True),
    ([act("control", "adjust"), act("limit", "set_back")], False),
    ([act("control", "repair")], True),
]


@pytest.mark.parametrize(("work", "is_accused"), WORK)
def test_a_control_raised_for_a_test_is_not_accused_and_the_limit_still_is(
    work: list[EntryFact], is_accused: bool
) -> None:
    boiler = Plant().service().visit(1, *work, seen(12.0))
    assert accused(boiler) == (LIMIT if is_accused else LIMIT[1:])


def test_a_control_raised_in_the_visit_before_is_accused() -> None:
    assert accused(Plant().service().visit(1, act("control", "adjust")).visit(2, seen(12.0))) == LIMIT


@pytest.mark.parametrize(("steam", "presumed"), [(True, False), (False, True)])
def test_steam_of_another_boiler_of_the_header_may_be_what_stands_over_the_valve(steam: bool, presumed: bool) -> None:
    state = ServiceMode.IN_SERVICE if steam else ServiceMode.LAID_UP_WET
    evidence = Plant().service().visit(1, seen(15.1)).evidence()
    boiler = Plant()
    beside = replace(evidence, header_services=((ServiceChange(state, FITTED),),))
    boiler.evidence = lambda: beside  # type: ignore[method-assign]
    boiler.visits = list(evidence.visits)
    assert any(rule == "presumed_by_valve" for rule, _ in accused(boiler)) is presumed


# a trip was reached at this pressure: the test, the valve's fate
REACHED: list[tuple[EntryFact, Accused]] = [
    (proof("limit", trip_psi=15.0), []),
    (proof("limit", trip_psi=15.1), DOUBTED),
    (proof("limit", trip_psi=17.0), SHUT),
    (proof("control", trip_psi=10.0), []),
    (proof("control", trip_psi=10.1), LIMIT[1:]),
    (proof("valve", gauge_psi=15.0), []),
    (proof("valve", gauge_psi=15.1), DOUBTED),
    (proof("limit", "limit_calibration", trip_psi=15.1), DOUBTED),
    (proof("limit", "limit_calibration", trip_psi=15.1, by="hand_pump"), []),
    (proof("gauge", "gauge_comparison", test_gauge_psi=20.0), []),
]


@pytest.mark.parametrize(("test", "rules"), REACHED)
def test_a_pressure_that_a_test_reached_is_held_against_limit_and_valve(test: EntryFact, rules: Accused) -> None:
    assert accused(Plant().service().visit(1, test)) == rules


@pytest.mark.parametrize(("discharged", "rules"), [(True, DOUBTED), (False, SHUT)])
def test_a_valve_that_discharged_did_open(discharged: bool, rules: Accused) -> None:
    more = [look("valve", "valve_opened_under_pressure")] if discharged else []
    boiler = Plant().service().visit(1, proof("limit", trip_psi=17.0), *more)
    assert [pair for pair in accused(boiler) if pair[1] == "valve"] == rules


def explained(difference: float, *between: EntryFact, reads: str | None = "high", **how: str) -> bool:
    """Whether a comparison after 12 psi was seen, 8.5 over the control's bound and 2 over the limit's, withdraws it."""
    boiler = Plant().service().visit(1, seen(12.0))
    if between:
        boiler.visit(1.5, *between)
    test = proof("gauge", outcome="fail", difference_psi=difference, gauge_reads=reads)
    return not {"control_overrun", "limit_overrun"} & set(boiler.visit(2, test, **how).open())


@pytest.mark.parametrize(
    ("difference", "reads", "withdrawn"),
    [(8.4, "high", False), (8.5, "high", True), (8.6, "high", True), (8.6, "low", False), (8.6, None, False)],
)
def test_a_gauge_that_reads_high_by_as_much_explains_what_it_showed(
    difference: float, reads: str | None, withdrawn: bool
) -> None:
    assert explained(difference, reads=reads) is withdrawn


@pytest.mark.parametrize("between", [act("gauge", "adjust"), fit("gauge", range_psi=30.0)])
def test_a_gauge_that_was_worked_on_since_explains_nothing(between: EntryFact) -> None:
    assert not explained(9.0, between)
    assert explained(9.0, act("limit", "reset"))


@pytest.mark.parametrize(("who", "withdrawn"), [("technician", True), ("operator", False), ("", False)])
def test_only_who_may_compare_a_gauge_withdraws_by_it(who: str, withdrawn: bool) -> None:
    assert explained(9.0, who=who) is withdrawn
