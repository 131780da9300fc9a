"""Several safety valves: the last line is the sound ones' stamped capacity together."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from fleet.rules import judge
from fleet.rules.capacity import compare_capacity
from fleet.rules.values import (
    AdoptedTerms,
    Evidence,
    FittingFact,
    Judgement,
    PositionFact,
    SettingFact,
    Standing,
    StandingSegment,
    Value,
)
from tests.rules.build import FITTED, SEASON, Boiler, at, ident, proof


def pair(
    first: Value,
    second: Value,
    output: Value = 900_000.0,
    sound: bool = True,
    then: Sequence[SettingFact] = (),
    day: float = 1,
) -> StandingSegment:
    """The standing with the second valve never proven (or the first too), by both stamps and the output."""
    return standing(judged(first, second, output, sound, then), at(day))


def judged(
    first: Value,
    second: Value,
    output: Value = 900_000.0,
    sound: bool = True,
    then: Sequence[SettingFact] = (),
    terms: Sequence[AdoptedTerms] = (AdoptedTerms(None, SEASON),),
    burner: FittingFact | None = None,
) -> Judgement:
    boiler = Boiler(terms=tuple(terms))
    refs = ("siphon_a", "siphon_b", "chamber", "upper", "lower", "control", "limit")
    boiler.visit(0, *map(proof, refs), *([proof("valve")] if sound else []))
    stamped = [(ident("valve"), first), (ident("valve 2"), second)]
    boiler.settings += [SettingFact(p, "capacity_lb_h", c, FITTED) for p, c in stamped if c is not None]
    boiler.settings += [SettingFact(None, "output_btu_h", output, FITTED), *then]
    boiler.fittings.append(FittingFact(ident("valve 2"), ident("second"), "safety_valve", FITTED, {"set_psi": 15.0}))
    whole: Evidence = boiler.evidence()
    places = [PositionFact(ident("valve 2"), "valve 2", "second safety valve", "safety_valve")]
    if burner:
        places.append(PositionFact(burner.position, "burner", "burner", "burner"))
        whole = replace(whole, fittings=(*whole.fittings, burner))
    return judge(replace(whole, positions=(*whole.positions, *places)), (), at(400))


def standing(judged: Judgement, when: datetime) -> StandingSegment:
    return next(s for s in judged.standings if s.since and s.since <= when and (s.until is None or when < s.until))


@pytest.mark.parametrize(
    ("first", "second", "standing"),
    [(900.0, 900.0, Standing.DUE), (899.0, 900.0, Standing.EXPOSED), (None, 900.0, Standing.EXPOSED)],
)
def test_a_valve_never_proven_exposes_unless_the_sound_ones_carry_the_output(
    first: Value, second: Value, standing: Standing
) -> None:
    assert pair(first, second).standing is standing


def test_two_valves_never_proven_do_not_stand_for_each_other() -> None:
    assert pair(900.0, 900.0, sound=False).standing is Standing.EXPOSED


INSTANT = timedelta(microseconds=1)
CHANGES = [
    ("the sound one's stamp", SettingFact(ident("valve"), "capacity_lb_h", 899.0, at(5))),
    ("what the boiler makes", SettingFact(None, "output_btu_h", 900_001.0, at(5))),
]


@pytest.mark.parametrize(("told", "change"), CHANGES, ids=[c[0] for c in CHANGES])
def test_what_the_register_changes_counts_from_its_instant_on(told: str, change: SettingFact) -> None:
    found = judged(900.0, 900.0, then=[change])
    seen = [standing(found, at(5) + d).standing for d in (-INSTANT, INSTANT * 0, INSTANT)]
    assert seen == [Standing.DUE, Standing.EXPOSED, Standing.EXPOSED], told


def test_a_relief_rule_adopted_later_counts_from_its_midnight_on() -> None:
    # By the surface table a firetube boiler of 120 ft2 needs 960 lb/h: both valves carry it, one alone does not.
    surface = [
        SettingFact(None, "heating_surface_ft2", 120.0, FITTED),
        SettingFact(None, "construction", "firetube", FITTED),
    ]
    later = AdoptedTerms(at(5), SEASON, relief_rule="greater_of")
    found = judged(900.0, 900.0, then=surface, terms=(AdoptedTerms(None, SEASON), later))
    seen = [standing(found, at(5) + d).standing for d in (-INSTANT, INSTANT * 0, INSTANT)]
    assert seen == [Standing.DUE, Standing.EXPOSED, Standing.EXPOSED]


def test_before_anything_is_fitted_neither_valve_stands_for_the_other() -> None:
    told = {r.sentence for r in judged(900.0, 900.0).standings[0].reasons}
    assert {"No safety valve is fitted.", "No second safety valve is fitted."} <= told


@pytest.mark.parametrize("output", [None, -1.0, 0.0])
def test_of_an_output_of_nothing_no_need_is_known(output: Value) -> None:
    assert compare_capacity({"output_btu_h": output}, AdoptedTerms(None, SEASON), [900.0]) is None


@pytest.mark.parametrize(("output", "needed"), [(0.5, 0.0005), (1.0, 0.001), (900_000.0, 900.0)])
def test_each_thousand_btu_an_hour_of_output_needs_a_pound_of_steam(output: float, needed: float) -> None:
    relief = compare_capacity({"output_btu_h": output}, AdoptedTerms(None, SEASON), [900.0])
    assert relief is not None
    assert relief.required_lb_h == pytest.approx(needed)
    assert relief.adequate is True


PLATE = SettingFact(ident("burner"), "input_btu_h", 900_000.0, FITTED)
BURNERS = [
    ("a burner", FittingFact(ident("burner"), ident("a burner"), "burner", FITTED), Standing.DUE),
    ("an empty place", FittingFact(ident("burner"), None, "", FITTED), Standing.EXPOSED),
]


@pytest.mark.parametrize(("told", "burner", "expected"), BURNERS, ids=[row[0] for row in BURNERS])
def test_only_the_plate_of_a_burner_that_is_there_stands_for_the_output(
    told: str, burner: FittingFact, expected: Standing
) -> None:
    assert standing(judged(900.0, 900.0, None, then=[PLATE], burner=burner), at(1)).standing is expected


@pytest.mark.parametrize("output", [None, 0.0, True, "much"])
def test_where_the_output_is_not_known_no_valve_stands_for_another(output: Value) -> None:
    assert pair(900.0, 900.0, output).standing is Standing.EXPOSED
