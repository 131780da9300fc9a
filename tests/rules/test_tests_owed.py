"""What work at one place asks of another: a flame failure test, a soap test, a limit that trips; and until when."""

import pytest

from fleet.rules.values import EntryFact
from tests.rules.build import LEFT_RIGHT, act, at, ident
from tests.rules.plant import Plant, fit, look, proof
from tests.rules.test_work_elsewhere import EveryPlace

ALL_TRADES = "technician|fire_side|gas_train"
FLAME, SOAP = proof("flame"), proof("burner", "soap_test")


def owed(*entries: EntryFact) -> list[str]:
    boiler = Plant().service().visit(1, *entries, who=ALL_TRADES, leave=LEFT_RIGHT)
    return [item.sentence for item in boiler.ready().missing if item.what == "owed"]


FLAME_OWED = ["Work was done on the burner on Thu 16 Oct 2025, and the flame failure test has not passed since."]
SOAP_OWED = [
    "Work was done on the fuel valves on Thu 16 Oct 2025, and the soap test of the fuel piping has not passed since."
]
TOUCHES = {
    "open_clean": ("open", True),
    "repair": ("open", True),
    "burner_service": ("open", True),
    "adjust": ("adjust", True),
    "tune": ("adjust", True),
    "disconnect": ("disconnect", False),
    "reset": ("", False),
    "clear_opening": ("", False),
}


@pytest.mark.parametrize(("work", "asks"), [(code, asks) for code, (_, asks) in TOUCHES.items()])
def test_a_burner_that_burns_otherwise_owes_a_flame_failure_test(work: str, asks: bool) -> None:
    assert owed(act("burner", work)) == (FLAME_OWED if asks else [])


@pytest.mark.parametrize(
    ("work", "asks"),
    [
        ("open_clean", True),
        ("repair", True),
        ("disconnect", True),
        ("reconnect", True),
        ("adjust", False),
        ("reset", False),
    ],
)
def test_fuel_piping_that_was_apart_owes_a_soap_test(work: str, asks: bool) -> None:
    assert owed(act("fuel", work)) == (SOAP_OWED if asks else [])


def test_a_new_burner_or_valve_owes_its_test_too() -> None:
    assert owed(fit("burner", input_btu_h=1_000_000.0)) == FLAME_OWED
    assert owed(fit("fuel")) == SOAP_OWED


@pytest.mark.parametrize("elsewhere", ["limit", "control", "upper", "glass", "vent", "body"])
def test_work_anywhere_else_owes_neither(elsewhere: str) -> None:
    assert owed(act(elsewhere, "open_clean")) == []


@pytest.mark.parametrize(
    ("entries", "left"),
    [
        ((act("burner", "tune"), FLAME), []),
        ((FLAME, act("burner", "tune")), FLAME_OWED),
        ((act("burner", "tune"), SOAP), FLAME_OWED),
        ((act("fuel", "repair"), SOAP), []),
        ((act("fuel", "repair"), FLAME), SOAP_OWED),
        ((act("burner", "tune"), proof("flame", outcome="fail")), FLAME_OWED),
        ((act("burner", "tune"), proof("flame", outcome="inconclusive")), FLAME_OWED),
    ],
)
def test_only_its_own_test_passed_after_the_work_answers_it(entries: tuple[EntryFact, ...], left: list[str]) -> None:
    assert owed(*entries) == left


def test_it_stands_against_firing_in_every_visit_until_then() -> None:
    boiler = Plant().service().visit(1, act("burner", "tune"), who=ALL_TRADES, leave=LEFT_RIGHT)
    boiler.visit(2, proof("limit"), who=ALL_TRADES, leave=LEFT_RIGHT)
    assert [(i.position, i.since) for i in boiler.ready().missing if i.what == "owed"] == [(ident("burner"), at(1))]
    boiler.visit(3, FLAME, who=ALL_TRADES, leave=LEFT_RIGHT)
    assert [i for i in boiler.ready().missing if i.what == "owed"] == []


@pytest.mark.parametrize(("psi", "touched"), [(7.9, False), (8.0, True), (8.1, True)])
def test_a_lift_at_the_limits_set_point_leaves_the_limit_to_be_tripped(psi: float, touched: bool) -> None:
    boiler = Plant().service().visit(1, proof("valve", gauge_psi=psi), leave=LEFT_RIGHT)
    assert [i.position for i in boiler.ready().missing if i.what == "touched"] == ([ident("limit")] if touched else [])
    boiler.visit(2, proof("limit"), leave=LEFT_RIGHT)
    assert [i for i in boiler.ready().missing if i.what == "touched"] == []


# what an annual service must prove beside the protections
SERVED = {
    "louvre_interlock",
    "low_draft_switch",
    "gas_pressure_switch",
    "oil_pressure_switch",
    "oil_temperature_switch",
    "atomizing_medium_switch",
}
INITIATORS = {"operating_control", "feeder"}
NOT_SERVED = {"vent", "gauge", "emergency_switch", "manual_fuel_cock", "try_cocks", "condensate_receiver", "siphon"}


@pytest.mark.parametrize("kind", ["annual_service", "season_start", "follow_up"])
def test_a_service_proves_the_interlocks_and_initiators_beside_the_protections(kind: str) -> None:
    boiler = EveryPlace().visit(1, look(None, "boiler_cool"), who=ALL_TRADES, leave=LEFT_RIGHT, kind=kind)
    names = {p.id: p.ref for p in boiler.evidence().positions}
    asked = {names[i.position] for i in boiler.ready().missing if i.what == "service" and i.position}
    assert (asked >= SERVED | INITIATORS) is (kind != "follow_up")
    assert not asked & NOT_SERVED


# an action's touch, by the catalogue: what the tables above rest on
def test_the_work_of_these_tables_is_what_the_catalogue_says() -> None:
    actions = Plant().evidence().catalogue.actions
    assert {code: actions[code].touch for code in TOUCHES} == {code: touch for code, (touch, _) in TOUCHES.items()}
