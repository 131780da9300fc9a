"""What is said of a paper of others whose pass proves nothing here, or that lacks what ends a hold."""

from dataclasses import replace
from datetime import date

import pytest

from fleet.rules.ledger.papers_of_others import serial_on_record
from fleet.rules.replay.evidence_replay import replay_evidence
from fleet.rules.values import OthersPaper, Value
from tests.rules.build import Boiler, at, ident, proof, swap
from tests.rules.plant import proof as whole_proof

SHOP = OthersPaper("valve_shop", "Harbor Valve Works", "A-17", date(2025, 10, 20))


def posted(boiler: Boiler, test: str, paper: OthersPaper = SHOP, seconded: bool = False, serial: Value = None) -> str:
    """What is said of a test of the safety valve that rests on a paper, posted five days after day 0."""
    entry = whole_proof("valve", test)
    boiler.visit(5, replace(entry, values={"serial": serial} if serial else {}), who="")
    boiler.visits[-1] = replace(boiler.visits[-1], paper=paper, seconded=seconded)
    return boiler.verdict().sentence


def stamped(serial: str) -> Boiler:
    """A proven boiler whose valve has its serial on record; none where it is ''."""
    return Boiler().sets(-30, "valve", "serial", serial).service() if serial else Boiler().service()


def test_a_paper_of_another_valve_names_both_serials() -> None:
    told = posted(stamped("v-1"), "valve_shop_test", serial="V-2")
    assert told.endswith(" The paper is of serial V-2, and the register has v-1 here. It renews and clears nothing.")


def test_a_paper_of_a_body_that_does_not_prove_it_names_the_body() -> None:
    told = posted(Boiler().service(), "lever_lift")
    assert told.endswith(
        " It is not for the body of this paper (Harbor Valve Works) to prove: it renews and clears nothing."
    )


WAITS = "That is the paper's word and does not count yet: it would end a hold, and waits."
GIVEN = "The paper does not give the serial of the safety valve."
ON_RECORD = "The register does not have the serial of the safety valve."
OTHER = "The paper is of serial V-2, and the register has v-1 here. It renews and clears nothing."
NAME = "No second qualified person stands behind the paper."


@pytest.mark.parametrize(
    ("on_record", "serial", "seconded", "said"),
    [
        ("v-1", None, False, f"{WAITS} {GIVEN} {NAME}"),
        ("v-1", None, True, f"{WAITS} {GIVEN}"),
        ("", "V-1", True, f"{WAITS} {ON_RECORD}"),
        ("v-1", "V-2", True, OTHER),
        ("v-1", "V-1", False, f"{WAITS} {NAME}"),
    ],
)
def test_a_paper_that_would_end_a_hold_says_what_it_lacks(
    on_record: str, serial: str | None, seconded: bool, said: str
) -> None:
    boiler = stamped(on_record).visit(1, proof("valve", lifted=False))
    assert posted(boiler, "valve_shop_test", seconded=seconded, serial=serial).endswith(f" {said}")
    assert "valve_no_lift" in boiler.open("valve")


def test_a_paper_with_serial_and_second_name_ends_the_hold() -> None:
    boiler = stamped("v-1").visit(1, proof("valve", lifted=False)).visit(2, swap("valve", set_psi=15.0, serial="v-1"))
    posted(boiler, "valve_shop_test", seconded=True, serial="V - 1")
    assert boiler.open("valve") == []
    assert boiler.standing_at(at(6)).standing == "clear"


@pytest.mark.parametrize(
    ("days", "fitted", "serial"),
    [(-30.0, None, "v-1"), (-30.0, {}, ""), (-30.0, {"serial": "v-2"}, "v-2"), (2.0, {}, "v-1"), (1.0, {}, "v-1")],
)
def test_a_serial_is_of_the_device_that_filled_the_place_when_it_came_on_record(
    days: float, fitted: dict[str, Value] | None, serial: str
) -> None:
    boiler = Boiler().sets(days, "valve", "serial", "v-1").service()
    if fitted is not None:
        boiler.visit(1, swap("valve", set_psi=15.0, **fitted))
    ledger = replay_evidence(boiler.evidence()).ledger
    assert serial_on_record(ledger, ledger.records[ident("valve")]) == serial
