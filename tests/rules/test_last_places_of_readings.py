"""Every bound is met to the last place of its unit: four thousandths of a psi or an inch are no other reading."""

import pytest

from fleet.rules.values import EntryFact
from tests.rules.build import LEFT_RIGHT, ident, swap
from tests.rules.plant import Plant, proof
from tests.rules.test_pressures_seen import CONTROL, DOUBTED, LIMIT, REST, SHUT, Accused, accused, explained, seen
from tests.rules.test_water_shown import level


@pytest.mark.parametrize(
    ("psi", "rules"),
    [
        (3.504, []),
        (3.506, CONTROL),
        (10.004, CONTROL),
        (10.006, LIMIT),
        (15.004, LIMIT),
        (15.006, [*LIMIT, *DOUBTED, *REST]),
        (16.994, [*LIMIT, *DOUBTED, *REST]),
        (16.996, [*LIMIT, *REST, *SHUT]),
    ],
)
def test_a_pressure_that_was_seen(psi: float, rules: Accused) -> None:
    assert accused(Plant().service().visit(1, seen(psi))) == sorted(rules)


@pytest.mark.parametrize(("inches", "places"), [(2.006, []), (2.004, ["upper"]), (1.006, ["upper"])])
def test_a_level_under_a_trip(inches: float, places: list[str]) -> None:
    assert level(inches) == places
    assert level(1.004) == ["lower", "upper"]


@pytest.mark.parametrize(("difference", "withdrawn"), [(8.494, False), (8.496, True)])
def test_a_gauge_that_explains_a_pressure(difference: float, withdrawn: bool) -> None:
    assert explained(difference) is withdrawn


def judged(*entries: EntryFact) -> str:
    return Plant().service().visit(1, *entries).verdict().outcome


@pytest.mark.parametrize(("psi", "outcome"), [(7.004, "pass"), (7.006, "inconclusive")])
def test_a_trip_two_psi_over_a_set_point_turned_down(psi: float, outcome: str) -> None:
    assert judged(proof("limit", trip_psi=psi, set_psi_during_test=5.0)) == outcome


@pytest.mark.parametrize(("back", "outcome"), [(5.004, "inconclusive"), (5.006, "pass")])
def test_a_set_point_read_back_where_it_was_turned_down_to(back: float, outcome: str) -> None:
    trip = proof("limit", trip_psi=5.0, set_psi_during_test=5.0, set_psi_read_back=back)
    assert judged(swap("limit"), trip) == outcome


@pytest.mark.parametrize(("psi", "asks"), [(7.994, False), (7.996, True)])
def test_a_lift_at_the_limits_set_point(psi: float, asks: bool) -> None:
    boiler = Plant().service().visit(1, proof("valve", gauge_psi=psi), leave=LEFT_RIGHT)
    assert bool(boiler.verdict().question) is asks
    assert (ident("limit") in [i.position for i in boiler.ready().missing if i.what == "touched"]) is asks
