"""What a boiler needs by its kind: each row of the table, seen missing and seen answered."""

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.engineering.relief import SURFACE_LB_H_FT2
from fleet.rules import judge
from fleet.rules.capacity import CAST_IRON
from fleet.rules.catalogue import NeededRole
from fleet.rules.needed_roles import (
    VALUE_NAMES,
    PlaceOnRecord,
    explain_always_needed,
    find_path_roles,
    find_register_gaps,
    in_words,
    may_be_left_out,
)
from fleet.rules.values import CatalogueEdition, Level, RegisterPosted, Standing, Value
from fleet.rules.vocabulary import BOILER_CHOICES
from tests.rules.build import Boiler, at, catalogue, proof

GAS: dict[str, Value] = {
    "output_btu_h": 1_000_000.0,
    "construction": "cast_iron",
    "fuel": "natural_gas",
    "draft": "natural",
}
OIL: dict[str, Value] = {**GAS, "fuel": "oil_2", "draft": "forced"}
EVERY_BOILER = {
    "lower_cutoff",
    "upper_cutoff",
    "gauge_glass",
    "feeder",
    "operating_control",
    "high_limit",
    "safety_valve",
    "gauge",
    "siphon",
    "flame_safeguard",
    "fuel_valves",
    "limit_circuit",
    "burner",
    "combustion_air",
    "co_alarm",
}
GAS_TRAIN = {"gas_pressure_low", "gas_pressure_high"}
SPILL = {"spill_or_rollout_switch"}
GAS_FIRED = EVERY_BOILER | GAS_TRAIN | SPILL  # with natural draft
BOTH_CUTOFFS = {"lower_cutoff", "upper_cutoff"}


def without(key: str) -> dict[str, Value]:
    """The gas-fired boiler with one value not on record."""
    return {k: v for k, v in GAS.items() if k != key}


ASKED = [
    (GAS, (), None, GAS_FIRED),
    ({**GAS, "draft": "forced"}, (), None, EVERY_BOILER | GAS_TRAIN | {"air_proving"}),
    ({**GAS, "draft": "induced"}, (), None, EVERY_BOILER | GAS_TRAIN | {"air_proving"}),
    (OIL, (), None, EVERY_BOILER | {"air_proving"}),
    ({**OIL, "draft": "natural"}, (), None, EVERY_BOILER),
    ({**GAS, "fuel": "propane"}, (), None, GAS_FIRED),
    (
        {**GAS, "cutoffs_needed": 1.0},
        (),
        None,
        (GAS_FIRED | {"only_cutoff"}) - {"lower_cutoff", "upper_cutoff"},
    ),
    ({**GAS, "output_btu_h": 399_999.0}, (), None, EVERY_BOILER | SPILL),
    ({**GAS, "output_btu_h": 400_000.0}, (), None, GAS_FIRED),
    ({**GAS, "output_btu_h": 300_000.0}, (), 400_000.0, GAS_FIRED),
    ({**GAS, "output_btu_h": 300_000.0}, (), 399_999.0, EVERY_BOILER | SPILL),
    (without("fuel"), (), None, EVERY_BOILER | {"fuel"}),
    (without("draft"), (), None, EVERY_BOILER | GAS_TRAIN | {"draft"}),
    (without("construction"), (), None, GAS_FIRED | {"construction"}),
    (without("output_btu_h"), (), None, EVERY_BOILER | SPILL | {"output_btu_h"}),
    (without("output_btu_h"), (), 500_000.0, GAS_FIRED),
    (
        GAS,
        (PlaceOnRecord("upper_cutoff", "float_cutoff"),),
        None,
        (GAS_FIRED | {"float_chamber"}) - {"upper_cutoff"},
    ),
    (
        GAS,
        (PlaceOnRecord("upper_cutoff", "probe_cutoff"),),
        None,
        (GAS_FIRED) - {"upper_cutoff"},
    ),
]


@pytest.mark.parametrize(("boiler", "places", "input_btu_h", "asked"), ASKED)
def test_a_boiler_needs_what_its_kind_asks_for(
    boiler: dict[str, Value], places: tuple[PlaceOnRecord, ...], input_btu_h: float | None, asked: set[str]
) -> None:
    assert {g.code for g in find_register_gaps(catalogue(), boiler, places, input_btu_h)} == asked


@pytest.mark.parametrize("need", catalogue().needed_roles, ids=lambda need: need.code)
def test_a_place_of_each_role_that_answers_a_need_takes_it_off_the_list(need: NeededRole) -> None:
    for role in need.roles:
        for kind in ("", *sorted(need.kinds or catalogue().roles[role].kinds)):
            gaps = find_register_gaps(catalogue(), GAS, [PlaceOnRecord(role, kind)], None)
            assert need.code not in {g.code for g in gaps}, (role, kind)


ON_SIPHON = frozenset({"siphon"})
SET = frozenset({"set_psi"})


@pytest.mark.parametrize(
    ("place", "codes"),
    [
        (PlaceOnRecord("high_limit", "limit_control"), {"siphon_of_high_limit", "high_limit_set_psi"}),
        (PlaceOnRecord("high_limit", "limit_control", paths=ON_SIPHON), {"high_limit_set_psi"}),
        (PlaceOnRecord("high_limit", "limit_control", values=SET), {"siphon_of_high_limit"}),
        (
            PlaceOnRecord("high_limit", "limit_control", paths=frozenset({"float_chamber"}), values=SET),
            {"siphon_of_high_limit"},
        ),
        (PlaceOnRecord("high_limit", "limit_control", paths=ON_SIPHON, values=SET), set()),
        (PlaceOnRecord("high_limit"), set()),
        (PlaceOnRecord("gauge", "gauge"), {"siphon_of_gauge"}),
        (PlaceOnRecord("gauge", "gauge", paths=ON_SIPHON), set()),
        (PlaceOnRecord("operating_control", "operating_control"), {"siphon_of_operating_control"}),
        (PlaceOnRecord("safety_valve", "safety_valve"), {"safety_valve_set_psi"}),
        (PlaceOnRecord("safety_valve", "safety_valve", values=SET), set()),
    ],
)
def test_a_device_is_on_record_with_its_siphon_and_its_set_pressure(place: PlaceOnRecord, codes: set[str]) -> None:
    siphon = PlaceOnRecord("siphon", "siphon")
    whole = {g.code for g in find_register_gaps(catalogue(), GAS, [siphon], None)}
    found = {g.code for g in find_register_gaps(catalogue(), GAS, [siphon, place], None)}
    assert found - whole == codes


def test_without_any_siphon_on_record_it_is_asked_for_once() -> None:
    limit = PlaceOnRecord("high_limit", "limit_control", values=SET)
    found = {g.code for g in find_register_gaps(catalogue(), GAS, [limit], None)}
    assert {code for code in found if "siphon" in code} == {"siphon"}


def test_one_of_two_valves_without_its_set_pressure_is_asked_for() -> None:
    valves = [PlaceOnRecord("safety_valve", "safety_valve", values=values) for values in (SET, frozenset())]
    gaps = find_register_gaps(catalogue(), GAS, valves, None)
    assert "Set pressure of the safety valve" in {g.name for g in gaps}


@pytest.mark.parametrize(
    ("paths", "roles"),
    [
        ({}, set()),
        ({"limit": ["siphon"]}, {"siphon"}),
        ({"limit": ["chamber"], "chamber": ["siphon"]}, {"float_chamber", "siphon"}),
        ({"limit": ["chamber"], "chamber": ["limit", "chamber"]}, {"float_chamber", "high_limit"}),
        ({"limit": ["nowhere"]}, set()),
    ],
)
def test_a_place_hangs_on_all_that_carries_its_signal(paths: dict[str, list[str]], roles: set[str]) -> None:
    places = {"limit": "high_limit", "siphon": "siphon", "chamber": "float_chamber"}
    assert find_path_roles("limit", paths, places) == roles


def test_a_switch_of_the_wrong_kind_does_not_answer_for_the_other() -> None:
    low = PlaceOnRecord("gas_pressure_switch", "gas_pressure_low_switch")
    assert {g.code for g in find_register_gaps(catalogue(), GAS, [low], None)} & GAS_TRAIN == {"gas_pressure_high"}


def test_only_what_the_table_lets_be_none_here_may_be_left_out() -> None:
    protections = [r.code for r in catalogue().roles.values() if r.part == "protection"]
    spared = {role for role in protections if may_be_left_out(catalogue(), GAS, role, ())}
    assert spared == {"spill_switch", "rollout_switch", "air_proving", "co_alarm"}


def test_what_cannot_be_left_out_is_refused_with_the_way_to_say_that_it_is_missing() -> None:
    assert explain_always_needed("High limit") == (
        "Every such boiler needs this: high limit. Leave the place empty instead; it is then not fitted."
    )


def test_a_release_without_the_table_asks_nothing() -> None:
    assert find_register_gaps(replace(catalogue(), needed_roles=()), {}, (), None) == ()


def test_gaps_are_told_as_one_list() -> None:
    gaps = find_register_gaps(
        catalogue(), {**GAS, "fuel": ""}, [PlaceOnRecord(r) for r in EVERY_BOILER - {"gauge"}], None
    )
    assert in_words(gaps) == "steam gauge and its fuel"


def test_a_signal_without_its_siphon_and_a_device_without_its_set_pressure_are_named_with_the_device() -> None:
    places = [PlaceOnRecord(r, sorted(catalogue().roles[r].kinds)[0]) for r in sorted(EVERY_BOILER)]
    named = [g.name for g in find_register_gaps(catalogue(), OIL, places, None) if " of the " in g.name]
    assert named == [
        "Set pressure of the high limit",
        "Set pressure of the safety valve",
        "Siphon of the gauge",
        "Siphon of the high limit",
        "Siphon of the operating control",
    ]


def test_every_word_on_which_a_need_or_the_valves_capacity_depends_can_be_on_record() -> None:
    asked = {(key, word) for need in catalogue().needed_roles for key, words in need.conditions for word in words}
    known = {(key, word) for key, words in BOILER_CHOICES.items() for word in words}
    assert {(key, word) for key, word in asked if key in BOILER_CHOICES} <= known
    builds = {(firing, built) for firing in BOILER_CHOICES["firing"] for built in BOILER_CHOICES["construction"]}
    assert SURFACE_LB_H_FT2.keys() == {(firing, built) for firing, built in builds if built != CAST_IRON}


@given(st.sets(st.sampled_from(sorted(catalogue().roles))), st.sampled_from([GAS, OIL, {}]))
def test_putting_a_place_on_record_never_makes_the_list_of_roles_longer_but_by_the_chamber_of_a_float(
    roles: set[str], boiler: dict[str, Value]
) -> None:
    whole = {"paths": frozenset({"siphon"}), "values": frozenset(VALUE_NAMES)}
    places = [PlaceOnRecord(role, sorted(catalogue().roles[role].kinds)[0], **whole) for role in roles]
    before = {g.code for g in find_register_gaps(catalogue(), boiler, (), None)}
    after = {g.code for g in find_register_gaps(catalogue(), boiler, places, None)}
    assert after - before <= {"float_chamber"}


def asked_from(boiler: Boiler, days: float) -> Boiler:
    """The same boiler with its whole register posted on that day."""
    evidence = replace(boiler.evidence(), register=RegisterPosted(at(days)))
    boiler.evidence = lambda: evidence  # type: ignore[method-assign]
    return boiler


def test_before_the_release_that_asks_nothing_is_missed_and_then_sixty_days_are_left() -> None:
    asks = catalogue()
    boiler = Boiler().service()
    evidence = replace(
        boiler.evidence(),
        catalogue=replace(asks, needed_roles=()),
        editions=(CatalogueEdition(at(3), replace(asks, release=2)),),
        register=RegisterPosted(at(-40)),
    )
    judgement = judge(evidence, (), at(400))
    levels = [level for d in judgement.deficiencies if d.rule == "not_on_record" for level in d.levels]
    assert [(s.level, s.since >= at(3)) for s in levels] == [(Level.ROUTINE, True), (Level.URGENT, True)]
    assert levels[0].since == at(3)
    assert timedelta(days=60) < levels[1].since - at(3) < timedelta(days=61)
    standings = [judgement.standing_at(at(day)).standing for day in (2, 4)]
    assert standings == [Standing.CLEAR, Standing.DUE]


def test_a_register_told_in_part_is_asked_for_nothing() -> None:
    assert Boiler().service().standing(1) is Standing.CLEAR
    assert asked_from(Boiler().service(), -1).standing(1) is Standing.DUE


def test_clear_says_how_many_protections_it_rests_on() -> None:
    reason = Boiler().service().standing_at(at(1)).reasons[0]
    assert reason.sentence == "4 protections on record and proven."


def test_of_one_protection_clear_says_what_it_does_not_guard_against() -> None:
    boiler = Boiler().visit(0, proof("valve"))
    whole = boiler.evidence()
    only = replace(
        whole,
        positions=tuple(p for p in whole.positions if p.role == "safety_valve"),
        fittings=tuple(f for f in whole.fittings if f.kind == "safety_valve"),
        settings=(),
    )
    reasons = {r.sentence for r in judge(only, (), at(1)).standing_at(at(1)).reasons}
    assert any(sentence.startswith("One protection on record and proven") for sentence in reasons), reasons
