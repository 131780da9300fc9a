"""A level that was read, held against each cutoff's trip height and delay: which of them did not act."""

import pytest

from fleet.rules.values import EntryFact, Value
from tests.rules.build import proof
from tests.rules.plant import Plant, look
from tests.rules.plant import proof as whole_proof


def level(inches: float, **readings: Value) -> EntryFact:
    """A level read by the caretaker with the burner firing."""
    told = {"line_visible": True, "glass_in": inches, "burner_firing": True, "steady": True, **readings}
    return whole_proof("glass", "level_observation", **{k: v for k, v in told.items() if v is not None})


def accused(boiler: Plant, inches: float, **readings: Value) -> list[str]:
    """Which of the two cutoffs are accused after such a level on the next day."""
    boiler.visit(5, level(inches, **readings), who="operator")
    return [ref for ref in ("upper", "lower") if "cutoff_below_trip" in boiler.open(ref)]


def served(**marks: float) -> Plant:
    """A boiler whose service read no trip height; `marks` are the makers', in inches over the glass's bottom."""
    boiler = Plant()
    for ref, inches in marks.items():
        boiler.sets(-30, ref, "trip_in", inches)
    return boiler


@pytest.mark.parametrize(("inches", "refs"), [(2.51, []), (2.5, ["upper"]), (2.49, ["upper"])])
def test_a_cutoff_never_tripped_is_held_against_its_makers_mark(inches: float, refs: list[str]) -> None:
    assert accused(served(upper=3.0), inches) == refs


def test_a_cutoff_with_neither_mark_nor_trip_is_held_against_nothing() -> None:
    assert accused(served(), 0.1) == []


@pytest.mark.parametrize(("inches", "refs"), [(2.01, []), (2.0, ["upper"])])
def test_the_height_it_was_last_tripped_at_stands_over_its_makers_mark(inches: float, refs: list[str]) -> None:
    assert accused(served(upper=3.0).visit(1, proof("upper", trip_in=2.5)), inches) == refs


@pytest.mark.parametrize(("inches", "refs"), [(1.01, ["upper"]), (1.0, ["upper", "lower"])])
def test_each_cutoff_is_held_against_its_own_height(inches: float, refs: list[str]) -> None:
    assert accused(served().service(), inches) == refs


@pytest.mark.parametrize(
    ("delay", "seconds", "refs"),
    [
        (None, None, ["upper"]),
        (None, 0.0, []),
        (None, 0.5, ["upper"]),
        (30.0, None, ["upper"]),
        (30.0, 30.0, []),
        (30.0, 30.5, ["upper"]),
    ],
)
def test_a_cutoff_is_given_its_makers_delay_where_it_was_read_how_long_it_fired(
    delay: float | None, seconds: float | None, refs: list[str]
) -> None:
    boiler = served(upper=3.0)
    if delay is not None:
        boiler.sets(-30, "upper", "fixed_delay_s", delay)
    assert accused(boiler, 2.5, firing_seconds=seconds) == refs


@pytest.mark.parametrize(
    ("readings", "refs"),
    [({}, ["upper"]), ({"steady": None}, ["upper"]), ({"steady": False}, []), ({"burner_firing": False}, [])],
)
def test_only_a_level_that_swings_or_a_burner_that_is_off_accuses_nobody(
    readings: dict[str, Value], refs: list[str]
) -> None:
    assert accused(served(upper=3.0), 2.5, **readings) == refs


def test_an_empty_place_and_what_is_no_cutoff_are_accused_of_nothing() -> None:
    boiler = served(feeder=3.0)
    boiler.fittings = [f for f in boiler.fittings if f.device is None or f.kind != "float_cutoff"]
    boiler.sets(-30, "upper", "trip_in", 3.0)
    assert "cutoff_below_trip" not in boiler.visit(5, level(2.5), who="operator").open()


def test_a_level_seen_by_another_test_is_no_level_observed() -> None:
    boiler = served(upper=3.0).visit(5, whole_proof("glass", "gauge_glass_blowdown", glass_in=2.5, burner_firing=True))
    assert "cutoff_below_trip" not in boiler.open()
    assert "cutoff_below_trip" not in served(upper=3.0).visit(5, look("glass", "found_firing", glass_in=2.5)).open()
