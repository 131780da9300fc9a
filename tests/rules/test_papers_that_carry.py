"""A paper may not quietly end a fault that is only urgent where it puts down a protection, or what others hang on."""

from dataclasses import dataclass, field, replace

import pytest

from fleet.rules.catalogue import Catalogue
from fleet.rules.values import EntryFact, Evidence
from tests.rules.build import act, catalogue, ident, remove
from tests.rules.plant import Plant, look, proof
from tests.rules.test_said_of_papers import SHOP


@dataclass
class PaperPlant(Plant):
    """The plant under a catalogue by which the shop may test any place, and a fault there is urgent at most."""

    catalogue: Catalogue = field(default_factory=catalogue)

    def evidence(self) -> Evidence:
        """Everything so far."""
        return replace(super().evidence(), catalogue=self.catalogue)


def urgent_only(rule: str, procedure: str) -> Catalogue:
    """The catalogue with one finding urgent, which puts its device down and which this test of the shop answers."""
    release = catalogue()
    finding = replace(release.findings[rule], level="urgent", fails="device", clears_by=frozenset({procedure}))
    test = replace(release.procedures[procedure], who=frozenset({"valve_shop"}))
    return replace(
        release,
        findings={**release.findings, rule: finding},
        procedures={**release.procedures, procedure: test},
    )


# where, its test, the finding, whether the paper waits for the second name
PARTS = [
    pytest.param("limit", "limit_trip", "limit_failed", True, id="protection"),
    pytest.param("siphon_a", "siphon_check", "siphon_plugged", True, id="input path"),
    pytest.param("circuit", "limit_circuit_trip", "output_path_failed", True, id="output path"),
    pytest.param("control", "operating_control_trip", "operating_control_failed", False, id="initiator"),
    pytest.param("vent", "vent_inspection", "vent_loose", False, id="reference"),
]
FAILED = {
    "limit": proof("limit", trip_psi=13.5),
    "siphon_a": proof("siphon_a", passes_water=False),
    "circuit": proof("circuit", outcome="fail"),
    "control": proof("control", trip_psi=7.5),
    "vent": proof("vent", outcome="fail"),
}


@pytest.mark.parametrize("seconded", [False, True])
@pytest.mark.parametrize(("ref", "test", "rule", "waits"), PARTS)
def test_a_paper_that_ends_what_carries_a_hazard_waits_for_serial_and_second_name(
    ref: str, test: str, rule: str, waits: bool, seconded: bool
) -> None:
    boiler = PaperPlant(catalogue=urgent_only(rule, test)).sets(-30, ref, "serial", "s-1").service()
    boiler.visit(1, FAILED[ref], who="technician|fire_side").visit(2, act(ref, "repair"))
    assert rule in boiler.open(ref)
    boiler.visit(3, replace(proof(ref, test), values={"serial": "S-1"}), who="")
    boiler.visits[-1] = replace(boiler.visits[-1], paper=SHOP, seconded=seconded)
    assert (rule in boiler.open(ref)) is (waits and not seconded)
    waiting = [paper.visit for paper in boiler.judged().waiting_papers]
    assert waiting == ([ident("v3")] if waits and not seconded else [])


# what is wrong elsewhere when the paper on the valve comes: whether its proof may be all that a hold hangs on
BESIDE = [
    pytest.param([], False, id="nothing"),
    pytest.param([proof("limit", trip_psi=13.5)], True, id="the limit failed"),
    pytest.param([remove("limit")], True, id="the limit is out"),
    pytest.param([proof("siphon_b", passes_water=False)], True, id="the limit is blind"),
    pytest.param([look("limit", "jumper_found")], True, id="the limit is bridged"),
    pytest.param([proof("circuit", outcome="fail")], True, id="the circuit failed"),
    pytest.param([proof("upper", outcome="fail")], False, id="a cutoff failed"),
    pytest.param([proof("control", trip_psi=7.5)], False, id="the control failed"),
]


@pytest.mark.parametrize("seconded", [False, True])
@pytest.mark.parametrize(("wrong", "waits"), BESIDE)
def test_a_paper_on_the_last_line_waits_where_another_protection_of_its_hazard_is_down(
    wrong: list[EntryFact], waits: bool, seconded: bool
) -> None:
    boiler = Plant().sets(-30, "valve", "serial", "s-1").service().visit(1, *wrong)
    boiler.visit(2, replace(proof("valve", "valve_shop_test"), values={"serial": "S-1"}), who="")
    boiler.visits[-1] = replace(boiler.visits[-1], paper=SHOP, seconded=seconded)
    assert (boiler.verdict().outcome == "inconclusive") is (waits and not seconded)
    waiting = [paper.visit for paper in boiler.judged().waiting_papers]
    assert waiting == ([ident("v2")] if waits and not seconded else [])
