"""Run on the second protection: only as long as everything it rests on stays true, and never more than a day."""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from fleet.rules.values import Entry, Level, Terms
from tests.rules.build import SEASON, Boiler, act, at, ident, local, proof, see

TICK = timedelta(microseconds=1)
BAD = proof("upper", burner_stopped=False)
ADOPTED = (Terms(None, SEASON, run_on_by="Ines Halloway"),)


def ran(*entries: Entry, terms: tuple[Terms, ...] = ADOPTED, days: float = 1) -> Boiler:
    """A proven boiler, then one visit."""
    return Boiler(terms=terms).service().visit(days, *entries)


def level(boiler: Boiler, rule: str, when: datetime) -> Level | None:
    (found,) = [d for d in boiler.judged().deficiencies if d.rule == rule]
    return next((s.level for s in found.levels if s.since <= when and (s.until is None or when < s.until)), None)


END = at(2)  # a day after the failure, the first entry of its visit
LEFT = at(1) + timedelta(minutes=1)


@pytest.mark.parametrize(
    ("when", "expected"),
    [
        (LEFT - TICK, Level.HOLD),
        (LEFT, Level.URGENT),
        (LEFT + TICK, Level.URGENT),
        (END - TICK, Level.URGENT),
        (END, Level.HOLD),
        (END + TICK, Level.HOLD),
    ],
)
def test_urgent_from_the_end_of_the_visit_until_a_day_after_the_failure(when: datetime, expected: Level) -> None:
    assert level(ran(BAD, proof("lower")), "lowering_no_trip", when) is expected


NOT = [
    ("not adopted", (BAD, proof("lower")), (Terms(None, SEASON),), "lowering_no_trip"),
    ("other not proven in this visit", (BAD,), ADOPTED, "lowering_no_trip"),
    ("last line itself", (proof("upper"), proof("lower", locked_out=False)), ADOPTED, "lower_cutoff_restarts"),
    ("valve", (proof("limit"), proof("valve", lifted=False)), ADOPTED, "valve_no_lift"),
    ("seen, not failed by default", (see("upper", "jumper_found"), proof("lower")), ADOPTED, "jumper_found"),
]


@pytest.mark.parametrize(("told", "entries", "terms", "rule"), NOT, ids=[n[0] for n in NOT])
def test_the_policy_does_not_cover(told: str, entries: tuple[Entry, ...], terms: tuple[Terms, ...], rule: str) -> None:
    assert level(ran(*entries, terms=terms), rule, at(1.5)) is Level.HOLD, told


def test_a_shared_input_path_is_no_second_protection() -> None:
    boiler = Boiler(terms=ADOPTED).sets(-1, "lower", "paths", (ident("chamber"),)).service()
    boiler.visit(1, BAD, proof("lower"))
    assert level(boiler, "lowering_no_trip", at(1.5)) is Level.HOLD


def test_it_ends_the_instant_the_second_stops_standing() -> None:
    boiler = ran(BAD, proof("lower")).visit(1.5, see("lower", "jumper_found"))
    assert [level(boiler, "lowering_no_trip", at(1.5) + d) for d in (-TICK, TICK * 0, TICK)] == [
        Level.URGENT,
        Level.HOLD,
        Level.HOLD,
    ]


def test_it_ends_the_instant_the_policy_is_withdrawn() -> None:
    boiler = ran(BAD, proof("lower"), terms=(*ADOPTED, Terms(at(1.5), SEASON)))
    assert [level(boiler, "lowering_no_trip", at(1.5) + d) for d in (-TICK, TICK * 0)] == [Level.URGENT, Level.HOLD]


def test_it_ends_when_the_repair_is_proven() -> None:
    boiler = ran(BAD, proof("lower")).visit(1.5, act("upper", "repair"), proof("upper"))
    assert level(boiler, "lowering_no_trip", at(1.6)) is None


def test_the_answer_stays_not_ready_and_says_until_when_and_who_answers() -> None:
    ready = ran(BAD, proof("lower")).ready()
    (told,) = [m.sentence for m in ready.missing if m.what == "run_on"]
    assert ready.answer == "not_ready"
    assert told == "It may run until Fri 17 Oct 2025 09:00 under the written policy, answered for by Ines Halloway."


def test_one_hold_that_the_policy_does_not_cover_takes_the_line_away() -> None:
    ready = ran(BAD, proof("lower"), see("limit", "jumper_found")).ready()
    assert [m for m in ready.missing if m.what == "run_on"] == []


def unproven(seen: float) -> list[tuple[datetime, Level]]:
    boiler = Boiler().visit(seen, proof("valve"))
    boiler.fittings = [replace(f, since=at(-1000)) if f.position == ident("valve") else f for f in boiler.fittings]
    (found,) = [d for d in boiler.judged().deficiencies if d.rule == "set_pressure_unproven"]
    return [(s.since, s.level) for s in found.levels]


def test_a_set_pressure_not_proven_is_routine_in_its_first_season_and_urgent_after() -> None:
    assert unproven(0) == [(at(0), Level.ROUTINE), (local(at(350).date().replace(month=10, day=1)), Level.URGENT)]


def test_before_dated_first_terms_begin_it_is_the_first_that_reach_back() -> None:
    first, later = Terms(at(10), None, run_on_by="A. Reed"), Terms(at(20), None)
    evidence = replace(Boiler().evidence(), terms=(later, first))
    assert [evidence.terms_at(t) for t in (None, at(5), at(10), at(19), at(20))] == [first] * 4 + [later]


def test_it_goes_on_while_another_person_answers_for_the_policy() -> None:
    boiler = ran(BAD, proof("lower"), terms=(*ADOPTED, Terms(at(1.5), SEASON, run_on_by="Abel Norris")))
    assert [level(boiler, "lowering_no_trip", t) for t in (at(1.6), END - TICK, END)] == [
        Level.URGENT,
        Level.URGENT,
        Level.HOLD,
    ]


@pytest.mark.parametrize("withdrawn", [LEFT - TICK, LEFT])
def test_withdrawn_before_the_visit_ended_it_never_covers(withdrawn: datetime) -> None:
    boiler = ran(BAD, proof("lower"), terms=(*ADOPTED, Terms(withdrawn, SEASON)))
    (found,) = [d for d in boiler.judged().deficiencies if d.rule == "lowering_no_trip"]
    assert {s.level for s in found.levels} == {Level.HOLD}
    assert [m for m in boiler.ready().missing if m.what == "run_on"] == []


def test_a_last_line_that_nobody_counts_on_is_no_second_protection() -> None:
    boiler = Boiler(terms=ADOPTED).sets(-1, "lower", "needed", False).service().visit(1, BAD, proof("lower"))
    assert level(boiler, "lowering_no_trip", at(1.5)) is Level.HOLD


def test_the_operating_control_is_no_second_protection_of_the_limit() -> None:
    late = proof("limit", trip_psi=13.5)
    assert level(ran(late, proof("control")), "limit_failed", at(1.5)) is Level.HOLD
    assert level(ran(late, proof("valve")), "limit_failed", at(1.5)) is Level.URGENT


SECONDS = [(("lower", "valve"), Level.URGENT), (("lower",), Level.HOLD), (("valve",), Level.HOLD), ((), Level.HOLD)]


@pytest.mark.parametrize(("proven", "expected"), SECONDS)
def test_a_path_that_fails_two_hazards_needs_a_second_protection_for_each(
    proven: tuple[str, ...], expected: Level
) -> None:
    boiler = Boiler(terms=ADOPTED).sets(-1, "upper", "paths", (ident("siphon_b"),)).service()
    boiler.visit(1, proof("siphon_b", passes_water=False), *map(proof, proven))
    assert level(boiler, "siphon_plugged", at(1.5)) is expected


@pytest.mark.parametrize(("days", "told"), [(2 - TICK / timedelta(days=1), 1), (2, 0), (2.5, 0)])
def test_a_later_visit_says_it_too_until_the_time_is_over(days: float, told: int) -> None:
    ready = ran(BAD, proof("lower")).visit(days, see("control", "reset_pressed")).ready()
    assert (ready.answer, len([m for m in ready.missing if m.what == "run_on"])) == ("not_ready", told)


def test_of_two_holds_the_one_whose_time_is_over_first_says_until_when() -> None:
    ready = ran(BAD, proof("lower"), proof("limit", trip_psi=13.5), proof("valve")).ready()
    (told,) = [m for m in ready.missing if m.what == "run_on"]
    assert told.since == at(2)
    assert "Fri 17 Oct 2025 09:00" in told.sentence
