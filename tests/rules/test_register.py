"""Facts from the register: declared dates, needed positions, set points, terms; each from its day on."""

from dataclasses import replace
from datetime import date

import pytest

from fleet.rules import judge
from fleet.rules.values import AdoptedTerms, FittingFact, PositionFact, SettingFact, Standing, State
from tests.rules.build import FITTED, SEASON, Boiler, at, ident, proof


def declared() -> Boiler:
    """A limit that somebody says was proven, before any visit."""
    boiler = Boiler()
    told = {"limit_trip": date(2025, 9, 20)}
    boiler.fittings = [f for f in boiler.fittings if f.position != ident("limit")]
    first = FittingFact(ident("limit"), ident("first limit"), "limit_control", FITTED, {"set_psi": 8.0}, told)
    boiler.fittings.append(first)
    return boiler


def test_a_declared_date_is_marked_and_never_a_proof() -> None:
    segment = declared().state_at("limit", at(1))
    assert (segment.state, segment.marks) == (State.NEVER_PROVEN, ("declared",))


def test_a_declared_date_says_that_no_visit_stands_behind_it() -> None:
    assert "no visit stands behind it" in declared().state_at("limit", at(1)).reason.sentence


def test_a_real_proof_takes_the_mark_away() -> None:
    segment = declared().visit(1, proof("limit")).state_at("limit", at(2))
    assert (segment.state, segment.marks) == (State.PROVEN, ())


def test_a_position_that_is_not_needed_any_more_no_longer_counts() -> None:
    boiler = Boiler().visit(0, *[proof(r) for r in ("lower", "limit", "valve", "control")])
    boiler.sets(4, None, "cutoffs_needed", 2.0).sets(5, None, "cutoffs_needed", 1.0)
    assert boiler.state("upper", 6) is State.NEVER_PROVEN
    reasons = [boiler.standing_at(at(day)).reasons for day in (4, 6)]
    assert [any(r.position == ident("upper") for r in told) for told in reasons] == [True, False]


@pytest.mark.parametrize("ref", ["upper", "lower", "limit", "valve"])
def test_no_word_of_the_register_hides_what_every_boiler_needs(ref: str) -> None:
    others = [proof(r) for r in ("upper", "lower", "limit", "valve", "control") if r != ref]
    boiler = Boiler().visit(0, *others).sets(5, ref, "needed", False)
    assert [any(r.position == ident(ref) for r in boiler.standing_at(at(day)).reasons) for day in (4, 6)] == [
        True,
        True,
    ]


def test_a_fitted_valve_is_counted_on_whatever_the_register_says_of_its_place() -> None:
    boiler = Boiler().service().sets(2, "valve", "needed", False).visit(3, proof("valve", lifted=False))
    assert [boiler.standing(day) for day in (1, 2.5, 4)] == [Standing.CLEAR, Standing.CLEAR, Standing.HOLD]


def test_a_second_valve_may_be_left_out_where_another_is_counted_on() -> None:
    evidence = Boiler().service().evidence()
    spare = PositionFact(ident("spare"), "spare", "spare valve's place", "safety_valve")
    empty = replace(evidence, positions=(*evidence.positions, spare))
    spared = replace(empty, settings=(*empty.settings, SettingFact(spare.id, "needed", False, FITTED)))
    standings = [judge(e, (), at(2)).standing_at(at(1)).standing for e in (empty, spared)]
    assert standings == [Standing.HOLD, Standing.CLEAR]


def test_a_portfolio_may_count_fewer_firing_days_from_a_day_on() -> None:
    boiler = Boiler(terms=(AdoptedTerms(None, SEASON), AdoptedTerms(at(12), SEASON, operator_firing_days=10))).service()
    assert [boiler.state("upper", day) for day in (11.9, 12.1)] == [State.DUE, State.LAPSED]


def test_the_first_terms_reach_back_over_all_time() -> None:
    boiler = Boiler(terms=(AdoptedTerms(at(5), SEASON),)).service()
    assert (boiler.standing(1), boiler.state("limit", 1)) == (Standing.CLEAR, State.PROVEN)


def test_a_caretakers_visit_is_no_survey() -> None:
    assert Boiler().flushed(0).standing(1) is Standing.NOT_SURVEYED


def test_a_technicians_visit_is_a_survey() -> None:
    assert Boiler().visit(0, proof("control")).standing(1) is Standing.EXPOSED


def test_without_a_season_a_yearly_proof_counts_from_its_own_date() -> None:
    boiler = Boiler(terms=(AdoptedTerms(None, None),)).service()
    assert [boiler.state("limit", day) for day in (364, 366, 395, 397)] == [
        State.PROVEN,
        State.DUE,
        State.DUE,
        State.LAPSED,
    ]
