"""What is seen of the fire is put right where its cause was: work there is something done about it, elsewhere not."""

from dataclasses import dataclass, replace

import pytest

from fleet.rules.values import EntryFact, Evidence, FittingFact, PositionFact
from tests.rules.build import FITTED, act, catalogue, ident
from tests.rules.plant import Plant, look, proof


@dataclass
class EveryPlace(Plant):
    """The plant with one place of every role beside its own, each named as its role."""

    def __post_init__(self) -> None:
        super().__post_init__()
        for role in catalogue().roles.values():
            device = ident(f"first {role.code}")
            self.fittings.append(FittingFact(ident(role.code), device, min(role.kinds), FITTED))

    def evidence(self) -> Evidence:
        """Everything so far."""
        more = tuple(PositionFact(ident(code), code, role.name, code) for code, role in catalogue().roles.items())
        whole = super().evidence()
        return replace(whole, positions=(*whole.positions, *more))


VENTED = proof("vent", "vent_inspection", spills_after_five_minutes=False)
BURNED = proof("burner", "combustion_test")
RESTARTED = proof("burner", "normal_restart", puff_flame_soot_or_smell=False)
FIRE_AND_DRAFT = {"vent", "draft_control", "combustion_air", "louvre_interlock", "burner", "boiler_body"}
FUEL_SWITCHES = {
    "gas_pressure_switch",
    "oil_pressure_switch",
    "oil_temperature_switch",
    "atomizing_medium_switch",
}
LIGHTING = {"burner", "fuel_valves", "flame_safeguard", "vent", "draft_control", "combustion_air", *FUEL_SWITCHES}
# what was seen, the test that answers it, the places where work is something done about it
CAUSED_AT: list[tuple[str, str, EntryFact, set[str]]] = [
    ("spilling_after_five_minutes", "flue_gas_spills", VENTED, FIRE_AND_DRAFT),
    ("soot_seen", "soot_seen", BURNED, FIRE_AND_DRAFT),
    ("light_off_puff", "rough_light_off", RESTARTED, LIGHTING),
]


@pytest.mark.parametrize("role", sorted(catalogue().roles))
@pytest.mark.parametrize(("seen", "rule", "test", "places"), CAUSED_AT, ids=[c[1] for c in CAUSED_AT])
def test_work_where_the_cause_may_lie_is_something_done_about_what_was_seen(
    seen: str, rule: str, test: EntryFact, places: set[str], role: str
) -> None:
    boiler = EveryPlace().service().visit(1, look(None, seen)).visit(2, act(role, "repair"), test)
    assert (rule in boiler.open()) is (role not in places)


@pytest.mark.parametrize(("seen", "rule", "test", "places"), CAUSED_AT, ids=[c[1] for c in CAUSED_AT])
def test_a_test_with_nothing_done_anywhere_answers_nothing_that_was_seen_of_the_fire(
    seen: str, rule: str, test: EntryFact, places: set[str]
) -> None:
    assert rule in EveryPlace().service().visit(1, look(None, seen)).visit(2, test).open()
