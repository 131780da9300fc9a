"""Set points read back: held against the ladder whatever is on record, and no setting until somebody sets them."""

from dataclasses import dataclass, replace

import pytest

from fleet.rules.values import Evidence, FittingFact, PositionFact, Value
from tests.rules.build import FITTED, Boiler, ident, proof, turn
from tests.rules.plant import Plant
from tests.rules.plant import proof as plant_proof


def read_back(ref: str, outcome: str = "pass", **readings: Value) -> Boiler:
    """A boiler in order, on which set points are read back: on record cut-out 2, limit 8, valve 15."""
    return Boiler().service().visit(1, plant_proof(ref, "ladder_read_back", outcome, as_posted=True, **readings))


READ = [  # where, what is read: outcome, grade, what fires and where
    ("limit", {"limit_psi": 8.0}, "pass", "good", []),
    ("limit", {"limit_psi": 15.0}, "fail", "failed", [("ladder_limit_at_valve", "limit")]),
    ("limit", {"limit_psi": 13.0}, "pass", "good", []),
    ("limit", {"limit_psi": 13.1}, "fail", "failed", [("ladder_limit_gap", "limit")]),
    (
        "limit",
        {"limit_psi": 15.1},
        "fail",
        "failed",
        [("ladder_over_fifteen", "limit"), ("ladder_limit_at_valve", "limit")],
    ),
    ("limit", {"limit_psi": 2.0}, "fail", "failed", [("ladder_limit_at_cut_out", "limit")]),
    ("limit", {"limit_psi": 9.0, "cut_out_psi": 9.5}, "fail", "failed", [("ladder_limit_at_cut_out", "limit")]),
    ("control", {"cut_out_psi": 9.5}, "fail", "failed", [("ladder_limit_at_cut_out", "limit")]),
    ("control", {"cut_out_psi": 7.9}, "pass", "good", []),
    ("control", {"cut_in_psi": 2.0}, "fail", "failed", [("ladder_cut_in", "control")]),
    ("control", {"cut_in_psi": 1.9}, "pass", "good", []),
    ("control", {"limit_psi": 12.0, "cut_out_psi": 10.1}, "pass", "drifted", [("ladder_operating_gap", "control")]),
    ("control", {"limit_psi": 12.0, "cut_out_psi": 10.0}, "pass", "good", []),
]


@pytest.mark.parametrize(("ref", "readings", "outcome", "grade", "fires"), READ)
def test_what_is_read_is_held_against_the_ladder(
    ref: str, readings: dict[str, Value], outcome: str, grade: str, fires: list[tuple[str, str]]
) -> None:
    boiler = read_back(ref, **readings)
    assert (boiler.verdict().outcome, boiler.verdict().grade) == (outcome, grade)
    assert [(f.rule, f.position) for f in boiler.findings()] == [(rule, ident(place)) for rule, place in fires]


def seen_over(read_at: str, psi: float, *limits: str, **readings: Value) -> list[str]:
    """The limits accused by a pressure seen firing a day after such a reading; `limits`: places beside the first."""
    boiler = PlantOfLimits(limits).service().visit(1, plant_proof(read_at, "ladder_read_back", **readings))
    boiler.visit(2, plant_proof("gauge", "pressure_observation", gauge_psi=psi, burner_firing=True), who="operator")
    return [ref for ref in ("limit", *limits) if "limit_overrun" in boiler.open(ref)]


@dataclass
class PlantOfLimits(Plant):
    """14 Larkspur Row with more places for a high limit; one of the name `empty` has no device."""

    limits: tuple[str, ...] = ()

    def __init__(self, limits: tuple[str, ...]) -> None:
        super().__init__()
        self.limits = limits
        for ref in limits:
            device = None if ref == "empty" else ident(f"first {ref}")
            kind = "" if ref == "empty" else "limit_control"
            self.fittings.append(FittingFact(ident(ref), device, kind, FITTED, {"set_psi": 8.0} if device else {}))

    def evidence(self) -> Evidence:
        """Everything so far."""
        whole = super().evidence()
        places = tuple(PositionFact(ident(ref), ref, ref, "high_limit") for ref in self.limits)
        return replace(whole, positions=(*whole.positions, *places))


@pytest.mark.parametrize(("psi", "accused"), [(8.0, []), (8.1, ["limit"])])
@pytest.mark.parametrize("read_at", ["limit", "control"])
def test_a_limit_read_back_at_six_on_either_control_must_act_at_two_psi_over_it(
    read_at: str, psi: float, accused: list[str]
) -> None:
    assert seen_over(read_at, psi, limit_psi=6.0) == accused


@pytest.mark.parametrize(("psi", "accused"), [(10.0, []), (10.1, ["limit", "second"])])
def test_of_two_limits_a_reading_on_the_control_says_not_which(psi: float, accused: list[str]) -> None:
    assert seen_over("control", psi, "second", limit_psi=6.0) == accused


def test_of_two_limits_a_reading_on_one_of_them_is_that_ones() -> None:
    assert seen_over("second", 8.1, "second", limit_psi=6.0) == ["second"]


def test_an_empty_place_for_a_limit_is_none_that_could_have_been_read() -> None:
    assert seen_over("control", 8.1, "empty", limit_psi=6.0) == ["limit"]


def test_what_is_not_posted_fails_although_it_goes_together() -> None:
    boiler = Boiler().service().visit(1, plant_proof("limit", "ladder_read_back", as_posted=False, limit_psi=8.0))
    assert (boiler.verdict().outcome, boiler.found()) == ("fail", [("equipment_failed", "urgent")])


def test_what_is_read_becomes_no_setting_on_record() -> None:
    boiler = read_back("limit", limit_psi=10.0)
    assert boiler.verdict().question == "8 psi is on record and 10 psi was read: which is right?"
    assert boiler.visit(2, proof("limit")).verdict().set_value == 8.0
    assert (
        boiler.visit(3, turn("limit", set_psi=10.0), proof("limit", set_psi_read_back=10.0)).verdict().set_value == 10.0
    )


@pytest.mark.parametrize(("psi", "asks"), [(8.25, False), (8.26, True), (7.75, False), (7.74, True)])
def test_a_quarter_of_a_psi_is_no_other_setting(psi: float, asks: bool) -> None:
    assert bool(read_back("limit", limit_psi=psi).verdict().question) == asks


def test_a_limit_read_as_high_as_the_valve_is_a_hold_until_it_was_set_and_tripped() -> None:
    boiler = read_back("limit", limit_psi=15.0)
    assert boiler.open("limit") == ["ladder_limit_at_valve"]
    assert boiler.visit(2, proof("limit")).open("limit") == ["ladder_limit_at_valve"]  # nothing was done about it
    assert boiler.visit(3, turn("limit", set_psi=8.0)).open("limit") == ["ladder_limit_at_valve"]
    assert boiler.visit(4, proof("limit")).open("limit") == []


def test_the_lowest_limit_and_the_highest_cut_out_stand_for_what_was_not_read() -> None:
    boiler = Boiler().service().sets(0.5, "control", "cut_out_psi", 9.0).sets(0.5, "limit", "set_psi", 12.0)
    assert boiler.visit(1, plant_proof("limit", "ladder_read_back", as_posted=True, limit_psi=9.0)).found() == [
        ("ladder_limit_at_cut_out", "urgent")
    ]
