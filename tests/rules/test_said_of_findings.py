"""What is said of each thing found, in full: who is accused, of what, and by which count."""

import re
from dataclasses import replace

import pytest

from fleet.rules.values import EntryFact
from tests.rules.build import act, at, ident
from tests.rules.plant import Plant, fit, look, proof
from tests.rules.test_findings_history import reads
from tests.rules.test_findings_seen import SEEN

EMPTY = "The glass was empty with the burner firing or hot"
VALVE = "The safety valve opened under pressure"
UNSEEN = "No line was visible in the glass with the burner firing or hot"
NO_LINE = [
    f"{UNSEEN}: nothing that guards against dry firing acted.",
    f"{UNSEEN}: the feeder did not feed.",
    f"{UNSEEN}: the lower cutoff did not act.",
    f"{UNSEEN}: the upper cutoff did not act.",
]
# in the order of the table of what is seen
SAID: list[list[str]] = [
    ["Smell of gas."],
    ["Carbon monoxide alarm sounding."],
    [
        f"{EMPTY}: nothing that guards against dry firing acted.",
        f"{EMPTY}: the feeder did not feed.",
        f"{EMPTY}: the lower cutoff did not act.",
        f"{EMPTY}: the upper cutoff did not act.",
    ],
    ["The glass was empty and the burner off: the level is lost, the cause unknown."],
    ["The water stood under the trip height of the upper cutoff and the burner fired."],
    ["The water stood under the trip height of the upper cutoff and the burner fired."],
    NO_LINE,
    NO_LINE,
    ["No line was visible in the glass and the burner off: the level is lost, the cause unknown."],
    ["Level can't be brought into the glass."],
    ["Dry firing known or suspected."],
    ["Gauge glass broken."],
    ["Gauge glass plugged or unreadable."],
    ["A cock of the gauge glass shut."],
    ["Water above normal, the feeder feeding, the burner off."],
    ["Water above normal, the feeder feeding, the burner on."],
    ["Water low and not feeding: feeder."],
    ["Spill or roll-out switch found tripped: spill switch."],
    ["The spill switch was found locked out: flue gas has been in the room."],
    ["The flame safeguard was found locked out: find the cause."],
    ["The high limit was found locked out: the operating control did not act before it."],
    ["The high limit opened and the fuel burned on: the limit circuit did not act."],
    ["Steam was made and the gauge on the control's siphon read zero."],
    ["The gauge did not read zero with the boiler cold and vented."],
    [
        f"{VALVE}.",
        f"{VALVE}: the operating control is presumed failed.",
        f"{VALVE}: the fuel valves are presumed failed.",
        f"{VALVE}: the high limit is presumed failed.",
        f"{VALVE}: the control's siphon is presumed failed.",
        f"{VALVE}: the limit's siphon is presumed failed.",
    ],
    ["Stamp unreadable: safety valve."],
    ["Discharge plugged: safety valve."],
    ["The combustion air is blocked."],
    ["The vent is loose."],
    ["The vent is blocked."],
    ["The vent is disconnected."],
    ["Burner or controls were flooded."],
    ["Leaking at a section or tube."],
    ["Leaking into the furnace."],
    ["Inspector's tag found."],
    ["Utility's tag found."],
    ["Flue gas still spilling after five minutes."],
    ["Rough light-off with puff, flame, soot or smell."],
    ["A bang at light-off and nothing else."],
    ["Carbon monoxide alarm out of date: carbon monoxide alarm."],
    ["Water carried over into the mains."],
    ["Water line surging in the glass beyond its usual bounce."],
    ["Water hammer in the mains or returns."],
    ["Soot at the vent, at the burner or on surfaces."],
    ["Water on the boiler room floor, burner and controls dry."],
    ["Trouble told in words of its own."],
    ["Steam in the mains and no heat in the building."],
]


@pytest.mark.parametrize(("seen", "said"), [(e, s) for (e, _), s in zip(SEEN, SAID, strict=True)])
def test_what_is_seen_is_said_with_its_place(seen: EntryFact, said: list[str]) -> None:
    assert [f.sentence for f in Plant().service().visit(1, seen).findings()] == said


@pytest.mark.parametrize("found", ["off", "no_power", "locked_out", "firing", "standing_by", "unknown"])
@pytest.mark.parametrize("said", [None, True, False])
def test_an_empty_glass_is_judged_by_what_the_burner_did_or_else_by_how_it_was_found(
    found: str, said: bool | None
) -> None:
    boiler = Plant().service().visit(1, look("glass", "glass_empty", burner_firing=said))
    boiler.visits[-1] = replace(boiler.visits[-1], state_on_arrival=found)
    fired = said if said is not None else found not in ("off", "no_power", "locked_out")
    assert boiler.open("glass") == (["glass_empty_firing"] if fired else ["glass_empty_off"])


def last(boiler: Plant, rule: str) -> str:
    return [f.sentence for f in boiler.findings() if f.rule == rule][-1]


def test_make_up_says_how_much_a_day_and_against_what() -> None:
    assert (
        last(reads(0, 100, 200, 300, 501), "makeup_rising") == "Make-up of 20.1 gal a day: over twice the usual 10.0."
    )
    assert last(reads(0, 100, 200, 300, 600, 1000), "makeup_rising_again") == "Make-up rose again, to 40.0 gal a day."


def test_make_up_with_a_long_past_says_by_what_luck_it_might_be_as_high() -> None:
    steady = [100.0 * week + (week % 3) for week in range(16)]
    told = last(reads(*steady, steady[-1] + 400), "makeup_rising")
    assert re.fullmatch(
        r"Make-up of 40\.0 gal a day: 4\.0 times its usual 10\.[0-9] \(by luck in [0-9.]+% of readings\)\.", told
    )


@pytest.mark.parametrize("reading", [True, "much", None])
def test_what_is_no_figure_is_no_reading_of_the_meter(reading: object) -> None:
    boiler = reads(0, 100, 200, 300)
    boiler.visit(35, look("meter", "leaking"), proof("meter", "meter_reading", reading=reading))  # type: ignore[arg-type]
    assert boiler.visit(41, proof("meter", "meter_reading", reading=450.0)).open("meter") == []


@pytest.mark.parametrize(("days", "left"), [(29, ["makeup_rising"]), (30, []), (31, [])])
def test_high_make_up_closes_with_the_first_reading_thirty_days_in_band(days: float, left: list[str]) -> None:
    boiler = reads(0, 100, 200, 300, 600, 700)  # high on day 41, in band on day 51
    boiler.visit(51 + days, proof("meter", "meter_reading", reading=700.0 + 10 * days))
    assert boiler.open() == left


def test_a_rise_that_stays_where_it_was_is_no_further_rise() -> None:
    assert reads(0, 100, 200, 300, 600, 900).open() == ["makeup_rising"]


PRESSED, LOCKED = look("limit", "reset_pressed"), look("flame", "lockout_found")


def test_resets_lockouts_and_repeats_say_their_count() -> None:
    boiler = Plant().service().visit(1, PRESSED).visit(1.5, PRESSED)
    assert (
        last(boiler, "resets_without_cause") == "The reset of the high limit was pressed again without a cause found."
    )
    boiler = Plant().service().visit(1, LOCKED).visit(9, LOCKED).visit(20, LOCKED)
    assert last(boiler, "lockouts_without_cause") == "The flame safeguard locked out three times in 30 days."
    boiler = Plant().service().visit(1, PRESSED).visit(9, look("limit", "lockout_found"))
    assert (
        last(boiler, "resets_without_cause") == "The high limit locked out again after a reset without a cause found."
    )


def test_a_reset_by_a_caretaker_is_said_with_the_device() -> None:
    boiler = Plant().service().visit(1, act("limit", "reset"), who="operator")
    assert last(boiler, "reset_unqualified") == "The high limit was reset by somebody who is not qualified for it."


@pytest.mark.parametrize(("press", "ref"), [("act", "limit"), ("act", "lower"), ("look", "lower")])
def test_a_reset_counts_whether_it_was_seen_or_done(press: str, ref: str) -> None:
    pressed = act(ref, "reset") if press == "act" else look(ref, "reset_pressed")
    boiler = Plant().service().visit(1, pressed).visit(9, look(ref, "lockout_found"))
    assert "resets_without_cause" in boiler.open(ref)


@pytest.mark.parametrize(("mended", "again"), [(act("limit", "repair"), True), (fit("limit", set_psi=8.0), False)])
def test_a_fault_that_comes_again_is_a_repeat_but_not_on_a_new_device(mended: EntryFact, again: bool) -> None:
    bad = proof("limit", trip_psi=13.5)
    boiler = Plant().service().visit(1, bad).visit(2, mended, proof("limit")).visit(30, bad)
    told = "Again within a season of its repair: The high limit tripped only at 13.5 psi. Find the root cause."
    assert [f.sentence for f in boiler.findings() if f.rule == "repeat_urgent"] == ([told] if again else [])


@pytest.mark.parametrize(("days", "again"), [(365 - 1e-9, True), (365, True), (365 + 1e-9, False)])
def test_a_season_of_its_repair_is_a_year_to_the_instant(days: float, again: bool) -> None:
    bad = look("limit", "jumper_found")
    boiler = Plant().service().visit(1, bad).visit(2, act("limit", "jumper_removed"), proof("limit"))
    (first,) = [d.closed_at for d in boiler.judged().deficiencies if d.rule == "jumper_found"]
    assert first is not None
    boiler.visit((first - at(0)).total_seconds() / 86_400 + days, bad)
    assert ("repeat_urgent" in boiler.open()) is again


def test_the_named_root_cause_keeps_the_first_managers_name() -> None:
    bad = proof("limit", trip_psi=13.5)
    boiler = Plant().service().visit(1, bad).visit(2, act("limit", "repair"), proof("limit")).visit(30, bad)
    boiler.visit(31, look("limit", "cause_found", manager="Ines Okafor")).visit(32, look("limit", "cause_found"))
    assert boiler.visit(33, act("limit", "repair"), proof("limit")).open() == []


def test_a_deficiency_says_by_what_it_is_cleared_in_order() -> None:
    boiler = Plant().service().visit(1, look("glass", "glass_empty", burner_firing=False))
    (found,) = [d for d in boiler.judged().deficiencies if d.rule == "glass_empty_off"]
    assert found.clears_by == ("internal_inspection", "leak_check", "slow_drain")


def test_jumpers_that_nobody_placed_name_no_test_that_closes_them() -> None:
    boiler = Plant().service()
    boiler.visit(1, act("limit", "adjust"), leave={"jumpers_off": False})
    (found,) = [d for d in boiler.judged().deficiencies if d.rule == "jumper_left"]
    assert (found.position, found.clears_by) == (None, ())
    assert "leaving check" in found.sentence


def test_a_jumper_with_a_place_names_the_tests_that_close_it() -> None:
    boiler = Plant().service().visit(1, act("limit", "jumper_fitted"))
    (found,) = [d for d in boiler.judged().deficiencies if d.rule == "jumper_left"]
    assert found.position == ident("limit")
    assert "limit_trip" in found.clears_by
