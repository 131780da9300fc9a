"""What is said of a test in full: what was read, what it is worth, and the limit that it was held against."""

import pytest

from fleet.rules.values import Value
from tests.rules.build import swap
from tests.rules.plant import Plant, look, proof

UNDER_VALVE = "trips at least 2 psi under the valve's 15 psi"
IN_SIGHT = "trips in sight in the glass and not under the lowest safe line"
LIFTED = "lifted with at least 5 psi under it"
PLATE = "within 5 % of its plate; over 10 % above it over-fired"
STAYS_OUT = "stays out until reset by hand"
NOT_PROVEN = "The high limit tripped, but its manual reset is not proven:"

# where, which test, what was read otherwise than in a good one: outcome, sentence, limit
SAID: list[tuple[str, str, dict[str, Value], str, str, str]] = [
    ("limit", "", {}, "pass", "The high limit tripped at 7.8 psi and stayed out until reset by hand.", UNDER_VALVE),
    (
        "limit",
        "",
        {"trip_psi": None},
        "inconclusive",
        "Limit trip on the high limit proves nothing: trip psi not recorded.",
        "",
    ),
    (
        "limit",
        "",
        {"trip_psi": 9.2, "set_psi_read_back": 8.0},
        "pass",
        "The high limit tripped at 9.2 psi and stayed out until reset by hand: adjust it.",
        UNDER_VALVE,
    ),
    ("limit", "", {"trip_psi": 13.5}, "fail", "The high limit tripped only at 13.5 psi.", UNDER_VALVE),
    (
        "limit",
        "",
        {"trip_psi": 5.0, "set_psi_during_test": 5.0},
        "pass",
        "The high limit tripped at 5 psi, set down to 5 for the test and stayed out until reset by hand.",
        UNDER_VALVE,
    ),
    (
        "limit",
        "",
        {"trip_psi": 5.0, "set_psi_during_test": 5.0, "set_psi_read_back": 5.0},
        "inconclusive",
        f"{NOT_PROVEN} its setting must be read back where it was found.",
        UNDER_VALVE,
    ),
    (
        "limit",
        "",
        {"trip_psi": 6.5, "set_psi_during_test": 5.0},
        "pass",
        "The high limit tripped at 6.5 psi, set down to 5 for the test and stayed out until reset by hand.",
        UNDER_VALVE,
    ),
    (
        "limit",
        "",
        {"stayed_off_minutes": 2.9},
        "inconclusive",
        f"{NOT_PROVEN} it must stay off at least 3 minutes.",
        UNDER_VALVE,
    ),
    (
        "limit",
        "",
        {"call_on": False},
        "inconclusive",
        f"{NOT_PROVEN} the call for heat must be on while it is watched.",
        UNDER_VALVE,
    ),
    (
        "limit",
        "",
        {"psi_when_checked": 4.0},
        "inconclusive",
        f"{NOT_PROVEN} the pressure must fall to half the trip reading or under its reset point while it stays off.",
        UNDER_VALVE,
    ),
    (
        "limit",
        "",
        {"set_psi_read_back": 9.0},
        "inconclusive",
        f"{NOT_PROVEN} its setting must be read back where it was found.",
        UNDER_VALVE,
    ),
    (
        "limit",
        "",
        {"restarted_by_hand": False},
        "fail",
        "The high limit let the burner restart by itself: it must stay out until reset by hand.",
        "restarts only by hand",
    ),
    (
        "limit",
        "",
        {"trip_psi": 14.0, "set_psi_during_test": 5.0},
        "fail",
        "The high limit tripped only at 14 psi, set down to 5 for the test.",
        UNDER_VALVE,
    ),
    ("control", "", {}, "pass", "The operating control opened at 2 psi.", "±0.5 psi"),
    (
        "control",
        "",
        {"trip_psi": None},
        "inconclusive",
        "Operating control trip on the operating control proves nothing: trip psi not recorded.",
        "",
    ),
    ("control", "", {"trip_psi": 2.6}, "pass", "The operating control opened at 2.6 psi: adjust it.", "±0.5 psi"),
    (
        "control",
        "",
        {"trip_psi": 7.1},
        "fail",
        "The operating control opened at 7.1 psi, too close to the high limit to do its work.",
        "opens at least 1 psi below the limit's 8 psi",
    ),
    ("valve", "", {}, "pass", "The safety valve lifted at 6 psi and closed tight.", LIFTED),
    ("valve", "", {"lifted": False}, "fail", "The safety valve did not lift and discharge.", ""),
    (
        "valve",
        "",
        {"gauge_psi": 4.9},
        "inconclusive",
        "The safety valve was lifted without enough pressure under it.",
        LIFTED,
    ),
    (
        "valve",
        "",
        {"gauge_psi": 4.9, "after_lift": "drips"},
        "inconclusive",
        "The safety valve was lifted without enough pressure under it and drips since.",
        LIFTED,
    ),
    ("valve", "", {"after_lift": "weeps"}, "pass", "The safety valve lifted at 6 psi and drips since.", LIFTED),
    ("siphon_a", "", {}, "pass", "The control's siphon passes water.", ""),
    (
        "siphon_a",
        "",
        {"passes_water": False},
        "fail",
        "The control's siphon is plugged: every control and gauge on it is blind.",
        "",
    ),
    ("upper", "", {}, "pass", "The upper cutoff stopped the burner at 2.5 in as the water fell.", IN_SIGHT),
    (
        "upper",
        "",
        {"burner_firing": False},
        "not_a_test",
        "The burner was off: nothing about the upper cutoff was proven.",
        "",
    ),
    ("upper", "", {"burner_stopped": False}, "fail", "The upper cutoff did not stop the burner as the water fell.", ""),
    (
        "upper",
        "",
        {"trip_in": None},
        "inconclusive",
        "Slow drain on the upper cutoff proves nothing: trip in not recorded.",
        IN_SIGHT,
    ),
    (
        "upper",
        "",
        {"trip_in": 0.5},
        "fail",
        "The upper cutoff stopped the burner at the wrong height. "
        "It tripped at 0.5 in, not over the "
        "cutoff that must act after it, 1.5 in.",
        "the cutoff that locks out is the last to act",
    ),
    (
        "upper",
        "",
        {"trip_in": 3.2},
        "pass",
        "The upper cutoff stopped the burner at 3.2 in as the water fell, "
        "more than 0.5 in from its mark "
        "or first height: adjust.",
        IN_SIGHT,
    ),
    ("lower", "", {}, "pass", "The lower cutoff stopped the burner at 1.5 in as the water fell.", IN_SIGHT),
    (
        "lower",
        "",
        {"locked_out": False},
        "fail",
        "The lower cutoff let the burner restart by itself: it must stay out until reset by hand.",
        STAYS_OUT,
    ),
    (
        "lower",
        "",
        {"locked_out": None},
        "inconclusive",
        "The lower cutoff stopped the burner, but whether it stayed out until reset by hand was not recorded.",
        STAYS_OUT,
    ),
    (
        "upper",
        "flush",
        {},
        "pass",
        "The flush of the upper cutoff stopped the burner: the switch acts; the pipes are not proven.",
        "",
    ),
    (
        "upper",
        "flush",
        {"burner_firing": False},
        "not_a_test",
        "The burner was off: the flush of the upper cutoff neither renews nor fails it.",
        "",
    ),
    (
        "upper",
        "flush",
        {"burner_stopped": False},
        "fail",
        "The burner kept firing while the upper cutoff was flushed.",
        "",
    ),
    (
        "upper",
        "flush",
        {"water": "little"},
        "not_a_test",
        "Hardly any water ran from the float chamber: not a test, sediment is presumed in the chamber.",
        "",
    ),
    (
        "upper",
        "flush",
        {"recovery": "slow"},
        "fail",
        "The level came back slowly after the flush of the upper cutoff: equalizing pipes fouled.",
        "",
    ),
    (
        "lower",
        "flush",
        {"locked_out": False},
        "fail",
        "The lower cutoff let the burner restart by itself after the flush: it must stay out until reset.",
        "",
    ),
    (
        "lower",
        "button_test",
        {},
        "noted",
        "The test button of the lower cutoff covers its electronics only: never a proof.",
        "",
    ),
    (
        "chamber",
        "chamber_open_inspect",
        {},
        "pass",
        "The float chamber was opened and inspected. It was found clean.",
        "",
    ),
    (
        "chamber",
        "chamber_open_inspect",
        {"found_clean": False},
        "pass",
        "The float chamber was opened and inspected. It was found dirty.",
        "",
    ),
    ("limit", "limit_calibration", {}, "pass", "The high limit tripped at 8 psi.", UNDER_VALVE),
    (
        "limit",
        "limit_calibration",
        {"trip_psi": 9.2},
        "pass",
        "The high limit tripped at 9.2 psi: adjust it.",
        UNDER_VALVE,
    ),
    ("limit", "limit_calibration", {"trip_psi": 13.5}, "fail", "The high limit tripped only at 13.5 psi.", UNDER_VALVE),
    ("limit", "lever_lift", {}, "not_a_test", "Lever lift is no test of what fills the high limit.", ""),
    (
        "burner",
        "clock_input",
        {"input_btu_h": 1000000.0},
        "pass",
        "The burner fires 1,000,000 Btu/h, 100% of its plate.",
        PLATE,
    ),
    (
        "burner",
        "clock_input",
        {"input_btu_h": 1060000.0},
        "pass",
        "The burner fires 1,060,000 Btu/h, 106% of its plate: adjust it.",
        PLATE,
    ),
    (
        "burner",
        "clock_input",
        {"input_btu_h": 1110000.0},
        "fail",
        "The burner fires 1,110,000 Btu/h, 111% of its plate: over-fired.",
        PLATE,
    ),
]


@pytest.mark.parametrize(("ref", "code", "readings", "outcome", "sentence", "limit"), SAID)
def test_what_was_read_is_said_with_the_limit_it_was_held_against(
    ref: str, code: str, readings: dict[str, Value], outcome: str, sentence: str, limit: str
) -> None:
    verdict = Plant().service().visit(1, proof(ref, code, **readings)).verdict()
    assert verdict.outcome == outcome
    assert verdict.sentence == sentence
    assert verdict.limit == limit


def test_a_limit_with_no_set_point_on_record_that_was_left_turned_down_is_not_proven() -> None:
    trip = proof("limit", trip_psi=5.0, set_psi_during_test=5.0, set_psi_read_back=5.0)
    assert Plant().service().visit(1, swap("limit"), trip).verdict().sentence == (
        "The high limit tripped, but its manual reset is not proven: its setting must be set back up and read."
    )


@pytest.mark.parametrize(
    ("readings", "outcome", "said"),
    [
        ({"sealed": False}, "fail", "The safety valve is not sealed and stamped for this boiler."),
        ({"stamped": False}, "fail", "The safety valve is not sealed and stamped for this boiler."),
        ({"dated": False}, "inconclusive", "The safety valve is not dated: nobody knows when it was last tested."),
        ({}, "pass", "The safety valve is new or from the shop, sealed, stamped and dated."),
        ({"opening_clear": False}, "fail", "The opening or the discharge of the safety valve is not clear."),
        ({"discharge_clear": False}, "fail", "The opening or the discharge of the safety valve is not clear."),
        (
            {"sealed": False, "opening_clear": False},
            "fail",
            "The safety valve is not sealed and stamped for this boiler. "
            "The opening or the discharge of the safety valve is not clear.",
        ),
    ],
)
def test_of_a_valve_just_fitted_it_is_said_what_its_stamp_seal_and_date_are_worth(
    readings: dict[str, Value], outcome: str, said: str
) -> None:
    boiler = Plant().service().visit(1, swap("valve", set_psi=15.0), proof("valve", "new_valve_check", **readings))
    assert (boiler.verdict().outcome, boiler.verdict().sentence) == (outcome, said)


def test_a_level_under_a_cutoffs_trip_names_both_heights() -> None:
    low = proof("glass", "level_observation", line_visible=True, glass_in=2.0, burner_firing=True)
    (found,) = [f for f in Plant().service().visit(1, low).findings() if f.rule == "cutoff_below_trip"]
    assert found.sentence == "The burner fired with the water at 2 in: the upper cutoff trips at 2.5 and did not."


def test_of_a_device_that_passed_with_nothing_done_it_is_said_that_it_still_counts_as_failed() -> None:
    boiler = Plant().service().visit(1, proof("limit", trip_psi=13.5)).visit(2, proof("limit"))
    assert boiler.state_at("limit", boiler.visits[-1].at).reason.sentence == (
        "The high limit tripped only at 13.5 psi. (Thu 16 Oct 2025)"
        " It passed since with nothing done: it still counts as failed."
    )


def test_a_discharge_is_said_with_the_valve() -> None:
    (found,) = [
        f
        for f in Plant().service().visit(1, look("valve", "valve_opened_under_pressure")).findings()
        if f.position is not None and f.rule == "valve_opened"
    ]
    assert found.sentence == "The safety valve opened under pressure."
