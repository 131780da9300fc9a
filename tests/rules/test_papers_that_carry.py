"""A paper may not quietly end a fault that is only urgent where it puts down a protection, or what others hang on."""

from dataclasses import dataclass, field, replace

import pytest

from fleet.rules.catalogue import Catalogue
from fleet.rules.values import Evidence
from tests.rules.build import act, catalogue, ident
from tests.rules.plant import Plant, proof
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
