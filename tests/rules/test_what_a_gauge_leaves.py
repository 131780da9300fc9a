"""What a gauge found wrong leaves standing: a pass whose verdict so much cannot change, to the last place."""

import pytest

from fleet.rules.values import EntryFact
from tests.rules.build import LEFT_RIGHT, act, at, ident
from tests.rules.plant import Plant, fit, look, proof


def off_by(psi: float) -> EntryFact:
    return proof("gauge", outcome="fail", difference_psi=psi, gauge_reads="low")


# the test, by how much its gauge may be wrong before its verdict could be another one
TOLERANT: list[tuple[str, EntryFact, float]] = [
    ("limit", proof("limit"), 3.6),  # it fell from 7.8 to 2.1, half the trip and 1.8 more
    ("limit", proof("limit", psi_when_checked=0.0), 5.2),  # it may trip 2 under the valve's 15
    ("control", proof("control"), 5.0),  # it may open 1 under the limit's 8
    ("valve", proof("valve"), 1.0),  # at least 5 under it
    ("valve", proof("valve", gauge_psi=7.3), 2.3),
]


@pytest.mark.parametrize(("ref", "test", "tolerates"), TOLERANT)
@pytest.mark.parametrize(("more", "stands"), [(-0.1, True), (-0.004, True), (0.0, True), (0.004, True), (0.1, False)])
def test_a_pass_stands_that_a_gauge_so_wrong_cannot_change(
    ref: str, test: EntryFact, tolerates: float, more: float, stands: bool
) -> None:
    boiler = Plant().service().visit(1, test).visit(2, off_by(tolerates + more))
    assert ("doubtful" not in boiler.state_at(ref, at(2.5)).marks) is stands


@pytest.mark.parametrize(("ref", "test", "tolerates"), TOLERANT)
@pytest.mark.parametrize(("more", "proves"), [(-0.1, True), (0.0, True), (0.1, False)])
def test_a_test_read_by_a_gauge_known_wrong_proves_only_what_that_cannot_change(
    ref: str, test: EntryFact, tolerates: float, more: float, proves: bool
) -> None:
    boiler = Plant().service().visit(1, off_by(tolerates + more)).visit(2, test)
    assert (boiler.verdict().outcome == "pass") is proves


ASKED = "cause_unknown"


def asks(*later: EntryFact, found: EntryFact | None = None, who: str = "technician") -> bool:
    boiler = (
        Plant().service().visit(1, found or look("limit", "lockout_found")).visit(2, *later, who=who, leave=LEFT_RIGHT)
    )
    return ASKED in {item.what for item in boiler.ready().missing}


COMPARED, NAMED = proof("gauge"), look("limit", "cause_found")
OPENED, VALVE_NAMED = look("valve", "valve_opened_under_pressure"), look("valve", "cause_found")


def test_a_lockout_is_asked_about_until_its_cause_is_named_whatever_gauge_was_compared() -> None:
    assert asks(proof("limit"))
    assert asks(COMPARED)
    assert not asks(NAMED)


def test_a_discharge_is_asked_about_until_its_cause_is_named_and_the_gauge_compared() -> None:
    assert asks(VALVE_NAMED, found=OPENED)
    assert asks(COMPARED, found=OPENED)
    assert not asks(VALVE_NAMED, COMPARED, found=OPENED)
    assert not asks(COMPARED, VALVE_NAMED, found=OPENED)


def entries_of(boiler: Plant) -> list[tuple[object, ...]]:
    return [f.entries for f in boiler.findings() if f.rule == "jumper_left"]


def test_a_jumper_left_rests_on_the_entry_that_fitted_it_and_later_on_the_visits_last() -> None:
    fitted, looked = act("limit", "jumper_fitted"), look("glass", "water_surging")
    boiler = Plant().service().visit(1, fitted, looked)
    assert entries_of(boiler) == [(boiler.visits[-1].entries[0].id,)]
    boiler.visit(2, looked, looked, leave={"jumpers_off": False})
    assert entries_of(boiler)[1:] == [(boiler.visits[-1].entries[1].id,)]


def test_the_second_alarm_that_outlives_its_day_is_the_second_episode() -> None:
    boiler = Plant().service().visit(1, fit("alarm", end_of_life="2025-12-31"), proof("alarm"))
    boiler.visit(90, fit("alarm", end_of_life="2026-02-28"), proof("alarm"))
    found = [d for d in boiler.judged().deficiencies if d.rule == "alarm_out_of_date"]
    assert [(d.position, d.episode) for d in found] == [(ident("alarm"), 1), (ident("alarm"), 2)]
