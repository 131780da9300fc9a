"""Whether the burner fired, word by word: what proves a fire, what says off, and what is taken where nobody says."""

from dataclasses import replace

import pytest

from fleet.rules.findings.burner_words import is_burner_on, proves_firing, says_off, was_firing
from fleet.rules.values import EntryFact, Value, VisitFact
from tests.rules.build import act, at, ident
from tests.rules.plant import look, proof

FIRE_SEEN = {
    "found_firing",
    "light_off_puff",
    "light_off_bang",
    "spilling_after_five_minutes",
    "switch_opened_fuel_burned",
}
NOT_SEEN = {"found_off", "left_off", "no_line_visible", "glass_empty", "gas_smell", "cause_found", "lockout_found"}


@pytest.mark.parametrize("code", sorted(FIRE_SEEN | NOT_SEEN))
def test_a_fire_that_was_seen_is_a_fire(code: str) -> None:
    assert proves_firing(look(None, code)) is (code in FIRE_SEEN)


@pytest.mark.parametrize("code", sorted(FIRE_SEEN | NOT_SEEN))
def test_seen_off_or_left_off_is_off(code: str) -> None:
    assert says_off(look(None, code)) is (code in ("found_off", "left_off"))


def test_a_word_of_what_was_seen_says_nothing_as_an_action() -> None:
    assert not says_off(act("burner", "found_off"))
    assert not proves_firing(act("burner", "found_firing"))


@pytest.mark.parametrize(("reading", "fires"), [(True, True), (False, False), (None, False), ("yes", False)])
def test_what_was_read_of_the_burner_speaks(reading: Value, fires: bool) -> None:
    assert proves_firing(look("glass", "no_line_visible", burner_firing=reading)) is fires


# the test, its outcome, whether a trip was read, whether it needs or shows a fire
TESTS: list[tuple[str, str, bool, bool]] = [
    *((code, "pass", False, True) for code in ("operating_control_trip", "limit_trip", "three_cycles")),
    *((code, "fail", False, True) for code in ("operating_control_trip", "limit_trip", "three_cycles")),
    *((code, "inconclusive", False, False) for code in ("operating_control_trip", "limit_trip", "three_cycles")),
    *((code, "inconclusive", True, True) for code in ("operating_control_trip", "limit_trip")),
    *((code, "not_done", True, False) for code in ("operating_control_trip", "limit_trip")),
    ("normal_restart", "pass", False, True),
    ("normal_restart", "fail", False, False),
    ("normal_restart", "inconclusive", False, False),
    ("limit_calibration", "pass", True, False),
    ("lever_lift", "pass", False, False),
    ("gauge_comparison", "pass", False, False),
]


@pytest.mark.parametrize(("code", "outcome", "read", "fires"), TESTS)
def test_a_test_that_takes_a_fire_shows_one(code: str, outcome: str, read: bool, fires: bool) -> None:
    readings: dict[str, Value] = {"trip_psi": 7.0} if read else {}
    entry = EntryFact(ident("e"), 0, "test", code, ident("limit"), at(1), outcome=outcome, readings=readings)
    assert proves_firing(entry) is fires


def visit(found: str, *before: EntryFact, last: EntryFact) -> tuple[VisitFact, EntryFact]:
    entries = tuple(replace(e, number=n, at=at(1)) for n, e in enumerate((*before, last)))
    return VisitFact(ident("v"), "follow_up", at(1), at(1), entries, state_on_arrival=found), entries[-1]


LOW = look("glass", "level_below_trip")
LIT, OFF = look("burner", "found_firing"), look("burner", "found_off")
RESTARTED = proof("burner", "normal_restart")
# how it was found, what was written before: whether it was firing or hot, and whether the burner was on
WRITTEN: list[tuple[str, list[EntryFact], bool, bool]] = [
    ("firing", [], True, True),
    ("unknown", [], True, True),
    ("standing_by", [], True, False),
    ("locked_out", [], False, False),
    ("off", [], False, False),
    ("no_power", [], False, False),
    ("off", [LIT], True, True),
    ("standing_by", [LIT], True, True),
    ("off", [LIT, OFF], False, False),
    ("off", [OFF, LIT], True, True),
    ("off", [LIT, act("burner", "lock_off")], False, False),
    ("off", [LIT, act("burner", "shut_fuel")], False, False),
    ("off", [LIT, act("burner", "unlock")], True, True),
    ("off", [LIT, look("burner", "left_off")], False, False),
    ("off", [RESTARTED], True, True),
    ("firing", [OFF], True, True),
]


@pytest.mark.parametrize(("found", "before", "hot", "on"), WRITTEN)
def test_where_nobody_says_how_it_was_found_speaks_until_an_entry_proves_a_fire(
    found: str, before: list[EntryFact], hot: bool, on: bool
) -> None:
    told = visit(found, *before, last=LOW)
    assert (was_firing(*told), is_burner_on(*told)) == (hot, on)


@pytest.mark.parametrize("found", ["firing", "standing_by", "off", "locked_out", "no_power", "unknown"])
@pytest.mark.parametrize("said", [True, False])
def test_the_word_of_the_entry_itself_goes_before_how_it_was_found(found: str, said: bool) -> None:
    told = visit(found, LIT, last=look("glass", "level_below_trip", burner_firing=said))
    assert (was_firing(*told), is_burner_on(*told)) == (said, said)


def test_a_fire_that_was_written_after_says_nothing_of_before() -> None:
    whole, _ = visit("off", LOW, last=LIT)
    assert not was_firing(whole, whole.entries[0])
