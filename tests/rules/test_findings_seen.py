"""What is seen, by the table of the domain's section 6: the least case, the nearest that fires nothing, the closing."""

import pytest

from fleet.rules.values import EntryFact, Standing, State
from tests.rules.build import FULL, act, at, catalogue, ident
from tests.rules.plant import Plant, fit, look, proof
from tests.rules.test_firing_rules import FIRES

EMPTY = [*[("cutoff_below_trip", "hold")] * 2, ("glass_empty_firing", "hold"), ("low_not_feeding", "urgent")]
# what is seen -> every rule it fires, with its class
SEEN: list[tuple[EntryFact, list[tuple[str, str]]]] = [
    (look(None, "gas_smell"), [("people_in_danger", "hold")]),
    (look(None, "alarm_sounding"), [("ambient_co", "hold")]),
    (
        look("glass", "glass_empty", burner_firing=True),
        [*[("cutoff_below_trip", "hold")] * 2, ("glass_empty_firing", "hold"), ("low_not_feeding", "urgent")],
    ),
    (look("glass", "glass_empty", burner_firing=False), [("glass_empty_off", "hold")]),
    (look("upper", "level_below_trip", burner_firing=True), [("cutoff_below_trip", "hold")]),
    (look("upper", "level_below_trip"), [("cutoff_below_trip", "hold")]),
    (look("glass", "glass_full"), EMPTY),
    (look(None, "no_line_visible"), EMPTY),
    (look(None, "no_line_visible", burner_firing=False), [("glass_empty_off", "hold")]),
    (look("glass", "glass_stays_full"), [("glass_full_stays", "hold")]),
    (look(None, "dry_fired"), [("dry_fired", "hold")]),
    (look("glass", "glass_broken"), [("glass_unreadable", "hold")]),
    (look("glass", "glass_plugged"), [("glass_unreadable", "hold")]),
    (look("glass", "cock_shut"), [("glass_unreadable", "hold")]),
    (look("feeder", "feeding_above_normal", burner_firing=False), [("feeding_burner_off", "urgent")]),
    (look("feeder", "feeding_above_normal", burner_firing=True), [("feeding_burner_on", "urgent")]),
    (look("feeder", "not_feeding_low"), [("low_not_feeding", "urgent")]),
    (look("spill", "spill_found_tripped"), [("spill_tripped_found", "hold")]),
    (look("spill", "lockout_found"), [("spill_tripped_found", "hold")]),
    (look("flame", "lockout_found"), [("lockout_cause", "urgent")]),
    (look("limit", "lockout_found"), [("lockout_found", "urgent")]),
    (look("limit", "switch_opened_fuel_burned"), [("output_path_failed", "hold")]),
    (look("gauge", "gauge_zero_steaming"), [("gauge_zero_with_steam", "hold")]),
    (look("gauge", "gauge_not_zero_cold"), [("gauge_off", "urgent")]),
    (
        look("valve", "valve_opened_under_pressure"),
        [("presumed_by_valve", "hold")] * 5 + [("valve_opened", "hold")],
    ),
    (look("valve", "stamp_unreadable"), [("capacity_unknown", "urgent")]),
    (look("valve", "discharge_plugged"), [("valve_blocked", "hold")]),
    (look("air", "air_blocked"), [("combustion_air_blocked", "urgent")]),
    (look("vent", "vent_loose"), [("vent_loose", "urgent")]),
    (look(None, "vent_blocked"), [("vent_blocked", "hold")]),
    (look(None, "vent_disconnected"), [("vent_blocked", "hold")]),
    (look(None, "flooded"), [("flooded", "hold")]),
    (look("body", "leaking"), [("boiler_leaks", "urgent")]),
    (look("body", "leaking_into_furnace"), [("boiler_leaks_into_furnace", "hold")]),
    (look(None, "tag_found_inspector"), [("tag_inspector", "hold")]),
    (look(None, "tag_found_utility"), [("tag_utility", "hold")]),
    (look(None, "spilling_after_five_minutes"), [("flue_gas_spills", "hold")]),
    (look(None, "light_off_puff"), [("rough_light_off", "hold")]),
    (look(None, "light_off_bang"), [("light_off_bang", "urgent")]),
    (look("alarm", "alarm_expired"), [("alarm_out_of_date", "urgent")]),
    (look(None, "water_carried_over"), [("water_carried_over", "urgent")]),
    (look("glass", "water_surging"), [("water_surging", "urgent")]),
    (look(None, "water_hammer"), [("water_hammer", "urgent")]),
    (look("vent", "soot_seen"), [("soot_seen", "urgent")]),
    (look(None, "room_flooded"), [("room_flooded", "urgent")]),
    (look(None, "trouble_told"), [("trouble_told", "urgent")]),
    (look(None, "steam_without_heat"), [("steam_without_heat", "urgent")]),
]
NEAREST = [
    look("upper", "level_below_trip", burner_firing=False),
    look("limit", "reset_pressed"),
    look("limit", "cause_found"),
    look(None, "found_off"),
    look(None, "tag_lifted_inspector"),
]
GAS_AND_BLOCKAGE = [
    (look(None, "vent_blocked"), look("spill", "spill_found_tripped")),
    (look("spill", "spill_found_tripped"), look("vent", "vent_loose")),
    (look("air", "air_blocked"), look(None, "alarm_sounding")),
    (proof("burner", co_ppm=900.0), look("air", "air_blocked")),
]
SOOT_AND_FLUE_GAS = [
    (look(None, "soot_seen"), look(None, "alarm_sounding")),
    (look("spill", "spill_found_tripped"), look("vent", "soot_seen")),
    (look(None, "soot_seen"), look("vent", "vent_loose")),
    (look("air", "air_blocked"), look("burner", "soot_seen")),
    (
        look(None, "soot_seen"),
        proof("burner", ambient_co_ppm=14.0, ambient_co_again_ppm=12.0, outdoor_co_ppm=1.0),
    ),
]


@pytest.mark.parametrize(("seen", "fired"), SEEN, ids=[f"{e.code}-{n}" for n, (e, _) in enumerate(SEEN)])
def test_what_is_seen_fires_its_rules_and_no_other(seen: EntryFact, fired: list[tuple[str, str]]) -> None:
    assert sorted(Plant().service().visit(1, seen, who="").found()) == fired


@pytest.mark.parametrize("seen", NEAREST, ids=[e.code for e in NEAREST])
def test_the_nearest_fires_nothing(seen: EntryFact) -> None:
    assert Plant().service().visit(1, seen).found() == []


@pytest.mark.parametrize(("first", "second"), GAS_AND_BLOCKAGE)
def test_air_or_vent_with_flue_gas_is_a_hold_whichever_comes_first(first: EntryFact, second: EntryFact) -> None:
    boiler = Plant().service().visit(1, first).visit(2, second)
    assert ("air_or_vent_with_co", "hold") in boiler.found()
    assert "air_or_vent_with_co" in boiler.open()


@pytest.mark.parametrize(("first", "second"), SOOT_AND_FLUE_GAS)
def test_soot_with_flue_gas_or_a_fault_of_its_way_out_is_a_hold_whichever_comes_first(
    first: EntryFact, second: EntryFact
) -> None:
    boiler = Plant().service().visit(1, first).visit(2, second)
    assert boiler.found().count(("soot_with_flue_gas", "hold")) == 1
    assert "soot_with_flue_gas" in boiler.open()


def test_a_blocked_vent_is_a_hold_and_closed_by_its_inspection() -> None:
    boiler = Plant().service().visit(1, look("vent", "vent_blocked"))
    assert boiler.standing(1.5) is Standing.HOLD
    boiler.visit(2, act("vent", "clear"), proof("vent"))
    assert boiler.open() == []


def test_an_empty_glass_seen_of_the_boiler_as_a_whole_is_no_less_a_hold() -> None:
    boiler = Plant().service().visit(1, look(None, "glass_empty", burner_firing=True))
    assert [boiler.state(r, 2) for r in ("upper", "lower")] == [State.FAILED, State.FAILED]
    assert "glass_empty_firing" in boiler.open()


def test_nobody_saying_what_the_burner_did_it_is_taken_to_fire() -> None:
    assert "glass_empty_firing" in Plant().service().visit(1, look("glass", "glass_empty")).open()


def test_an_empty_glass_with_the_burner_off_accuses_no_cutoff() -> None:
    boiler = Plant().service().visit(1, look("glass", "glass_empty", burner_firing=False))
    assert [boiler.state(r, 2) for r in ("upper", "lower")] == [State.PROVEN, State.PROVEN]


def test_lost_water_is_a_hold_until_somebody_qualified_names_the_cause() -> None:
    boiler = Plant().service().visit(1, look("glass", "glass_empty", burner_firing=False))
    boiler.visit(2, proof("body")).visit(3, look("glass", "cause_found"), who="operator").visit(4, proof("body"))
    assert boiler.open("glass") == ["glass_empty_off"]


@pytest.mark.parametrize("where", ["glass", None])
@pytest.mark.parametrize("code", ["slow_drain", "evaporation", "flush"])
def test_no_level_test_counts_while_the_glass_cannot_be_read(where: str | None, code: str) -> None:
    boiler = Plant().service().visit(1, look(where, "glass_broken"), proof("upper", code))
    assert boiler.verdict().outcome == "inconclusive"
    assert boiler.verdict().proves == ""


def test_bad_news_counts_without_a_glass() -> None:
    boiler = Plant().service().visit(1, look("glass", "glass_broken"), proof("upper", burner_stopped=False))
    assert boiler.open("upper") == ["lowering_no_trip"]


@pytest.mark.parametrize("where", ["glass", None])
def test_with_a_new_glass_blown_down_level_tests_count_again(where: str | None) -> None:
    boiler = Plant().service().visit(1, look(where, "glass_broken"))
    boiler.visit(2, fit("glass"), proof("glass"), proof("upper"))
    assert (boiler.open(), boiler.verdict().proves) == ([], "full")


def test_a_broken_glass_that_nobody_touched_is_not_mended_by_one_blowdown() -> None:
    boiler = Plant().service().visit(1, look("glass", "glass_broken"), proof("glass", "gauge_glass_blowdown"))
    assert boiler.open() == ["glass_unreadable"]


@pytest.mark.parametrize("body", ["inspector", "utility"])
@pytest.mark.parametrize("who", ["technician", "operator", "inspector", "utility", ""])
def test_a_tag_is_lifted_by_its_own_body_alone(body: str, who: str) -> None:
    boiler = (
        Plant().service().visit(1, look(None, f"tag_found_{body}")).visit(2, look(None, f"tag_lifted_{body}"), who=who)
    )
    assert (boiler.open() == []) is (who == body)


def test_fuel_that_burned_on_fails_everything_on_the_circuit() -> None:
    boiler = Plant().service().visit(1, look("limit", "switch_opened_fuel_burned"))
    assert boiler.open("circuit") == ["output_path_failed"]
    assert {boiler.state(r, 2) for r in ("upper", "lower", "control", "limit", "flame", "spill")} == {State.FAILED}
    assert boiler.state("valve", 2) is State.PROVEN


def test_each_device_on_a_mended_circuit_stays_failed_until_it_trips() -> None:
    boiler = Plant().service().visit(1, look("limit", "switch_opened_fuel_burned"))
    boiler.visit(2, act("circuit", "rewire"), proof("circuit"), proof("limit"))
    assert boiler.open("circuit") == []
    assert [boiler.state(r, 3) for r in ("limit", "upper", "flame")] == [State.PROVEN, State.FAILED, State.FAILED]
    assert boiler.visit(4, proof("upper"), proof("flame")).state("flame", 5) is State.PROVEN


def test_a_jumper_across_the_circuit_defeats_all_on_it_until_each_trips() -> None:
    boiler = Plant().service().visit(1, look("circuit", "jumper_found"))
    boiler.visit(2, act("circuit", "jumper_removed"), proof("circuit"))
    assert (boiler.open(), boiler.state("limit", 3)) == ([], State.FAILED)
    assert boiler.visit(4, proof("limit")).state("limit", 5) is State.PROVEN


def test_a_valve_that_opened_leaves_each_of_those_before_it_presumed_until_it_passes_itself() -> None:
    boiler = Plant().service().visit(1, look("valve", "valve_opened_under_pressure"))
    boiler.visit(2, proof("limit"))
    assert (boiler.open("limit"), boiler.open("siphon_b")) == ([], ["presumed_by_valve"])
    boiler.visit(3, proof("siphon_a"), proof("siphon_b"), proof("control"), proof("fuel"))
    assert boiler.open() == ["valve_opened"]
    assert boiler.visit(4, proof("valve")).open() == ["valve_opened"]
    assert boiler.visit(5, proof("valve", "valve_shop_test", opens_psi=15.0), who="valve_shop").open() == []


DOUBTS = [
    # The lift of day 0 came before that day's check of the gauge and stands; it came after that of the siphon.
    (look("gauge", "gauge_not_zero_cold"), State.PROVEN),
    (proof("gauge", difference_psi=1.1), State.PROVEN),
    (proof("siphon_a", passes_water=False), State.NEVER_PROVEN),
    (look("gauge", "gauge_zero_steaming"), State.NEVER_PROVEN),
]


@pytest.mark.parametrize(("wrong", "state"), DOUBTS)
def test_pressures_read_since_the_last_good_check_are_in_doubt(wrong: EntryFact, state: State) -> None:
    boiler = Plant().service().visit(5, proof("valve")).visit(11, wrong)
    segment = boiler.state_at("valve", at(12))
    assert segment.state is state
    assert segment.marks == ("doubtful",)
    assert ("found wrong" in segment.reason.sentence) == (state is State.NEVER_PROVEN)


def test_an_older_sound_lift_stands_where_a_newer_one_is_in_doubt() -> None:
    boiler = Plant().service().visit(5, proof("valve")).visit(11, look("gauge", "gauge_not_zero_cold"))
    segment = boiler.state_at("valve", at(12))
    assert (segment.state, segment.marks) == (State.PROVEN, ("doubtful",))
    assert "Wed 15 Oct 2025" in segment.reason.sentence


def test_a_good_check_after_the_lift_keeps_it_out_of_doubt() -> None:
    boiler = Plant().service().visit(5, proof("valve"), proof("gauge")).visit(11, look("gauge", "gauge_not_zero_cold"))
    assert boiler.state_at("valve", at(12)).marks == ()


def test_a_siphon_without_a_gauge_on_it_casts_no_doubt_on_the_lift() -> None:
    boiler = Plant().service().visit(5, proof("valve")).visit(11, proof("siphon_b", passes_water=False))
    assert boiler.state_at("valve", at(12)).marks == ()


def test_a_new_gauge_closes_what_the_old_one_was_accused_of() -> None:
    boiler = Plant().service().visit(1, look("gauge", "gauge_not_zero_cold"))
    assert boiler.visit(2, fit("gauge", range_psi=30.0), proof("gauge")).open() == []


def test_an_unreadable_stamp_is_not_read_by_lifting_the_valve() -> None:
    boiler = Plant().service().visit(1, look("valve", "stamp_unreadable"), proof("valve"))
    assert boiler.open() == ["capacity_unknown"]
    assert boiler.visit(2, fit("valve", set_psi=15.0, capacity_lb_h=1000.0), proof("valve")).open() == []


def test_every_observation_with_a_finding_has_a_case() -> None:
    told = {e.code for e, _ in SEEN} | {e.code for _, _, e in FIRES if e.act == "observe"}
    same_rule = {"no_draft", "not_a_steam_valve", "valve_can_be_shut", "siphon_plugged"}
    assert {o.code for o in catalogue().observations.values() if o.finding} - told == same_rule


@pytest.mark.parametrize(
    ("code", "rule"),
    [("seal_broken", "valve_wrong"), ("not_a_steam_valve", "valve_wrong"), ("valve_can_be_shut", "valve_blocked")],
)
def test_a_valve_that_is_wrong_or_can_be_shut_is_a_hold(code: str, rule: str) -> None:
    assert Plant().service().visit(1, look("valve", code)).found() == [(rule, "hold")]


def test_a_siphon_seen_plugged_blinds_what_hangs_on_it() -> None:
    boiler = Plant().service().visit(1, look("siphon_b", "siphon_plugged"))
    assert (boiler.found(), boiler.state("limit", 2)) == ([("siphon_plugged", "hold")], State.FAILED)


def test_the_places_of_the_first_cast_are_all_here() -> None:
    assert {ident(ref) for ref in FULL} <= {p.id for p in Plant().evidence().positions}
