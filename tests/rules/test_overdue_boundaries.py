"""Things left undone at the very instant they begin or end, and the sentences they are told in."""

from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest

from fleet.rules import judge
from fleet.rules.values import ActFact, Condition, PaperFact, ServiceMode, deficiency_id
from tests.rules.build import START, Boiler, act, at, ident, local, proof, see, swap

INSTANT = timedelta(microseconds=1)
AROUND = (-INSTANT, INSTANT * 0, INSTANT)
SEASON_START = local(date(2026, 10, 1))
PAST = local(date(2025, 10, 24))  # found on 16 October, seven days to put it right
CONTROL = proof("control", trip_psi=7.5)


def day(when: datetime) -> float:
    return (when - START) / timedelta(days=1)


def told(boiler: Boiler, name: str, *acts: ActFact) -> list[Condition]:
    found = judge(boiler.evidence(), acts, at(400)).conditions
    # Without the set pressure, of which no story here takes care: it has tests of its own.
    return [c for c in found if c.condition == name and c.since >= at(-30) and "set pressure" not in c.sentence]


def spans(found: list[Condition]) -> list[tuple[datetime, datetime | None]]:
    return [(c.since, c.until) for c in found]


def served(when: datetime, kind: str = "annual_service", own: bool = True) -> Boiler:
    boiler = Boiler().service().visit(day(when), proof("limit"), kind=kind)
    boiler.visits[-1] = replace(boiler.visits[-1], of_this_boiler=own)
    return boiler


@pytest.mark.parametrize(("off", "serves"), tuple(zip(AROUND, (False, True, True), strict=True)))
def test_a_service_ninety_days_before_the_season_serves_for_it_and_no_earlier_one(off: timedelta, serves: bool) -> None:
    boiler = served(local(date(2026, 7, 3)) + off)
    expected = [] if serves else [(SEASON_START, local(date(2027, 10, 1)))]
    assert spans(told(boiler, "season_without_visit")) == expected


@pytest.mark.parametrize(("off", "late"), tuple(zip(AROUND, (False, False, True), strict=True)))
def test_a_service_that_ends_as_the_season_begins_was_in_time(off: timedelta, late: bool) -> None:
    found = [s for s in spans(told(served(SEASON_START + off), "season_without_visit")) if s[0] == SEASON_START]
    assert found == ([(SEASON_START, SEASON_START + off)] if late else [])


def test_a_season_without_its_visit_is_told_with_its_first_day_until_the_service_or_the_next_season() -> None:
    boiler = served(local(date(2027, 12, 1)))
    found = told(boiler, "season_without_visit")
    second = local(date(2027, 10, 1))
    assert spans(found)[:2] == [(SEASON_START, second), (second, local(date(2027, 12, 1)))]
    assert found[0].sentence == "The season began on Thu 01 Oct 2026 without its visit."


def test_the_neighbours_service_is_not_this_boilers() -> None:
    assert len(told(served(local(date(2026, 9, 1)), own=False), "season_without_visit")) == 1


def test_a_boiler_laid_up_as_the_season_begins_misses_no_visit() -> None:
    assert told(Boiler().service().goes(200, ServiceMode.LAID_UP_DRY), "season_without_visit") == []


def test_the_season_that_begins_on_the_day_of_the_survey_is_not_asked_for() -> None:
    boiler = Boiler().visit(day(local(date(2025, 10, 1), 9)), proof("limit"))
    assert [s for s, _ in spans(told(boiler, "season_without_visit"))] == [SEASON_START]


@pytest.mark.parametrize(("off", "count"), tuple(zip(AROUND, (0, 0, 1), strict=True)))
def test_closed_as_its_day_ends_it_never_was_past_its_date(off: timedelta, count: int) -> None:
    boiler = Boiler().service().visit(1, CONTROL).visit(2, act("control", "adjust"))
    assert len(told(boiler.visit(day(PAST + off), proof("control")), "past_date")) == count


def test_what_is_past_its_date_is_told_with_its_last_day_and_what_was_found() -> None:
    found = told(Boiler().service().visit(1, CONTROL), "past_date")[0]
    assert found.sentence == (
        "Past its date of Thu 23 Oct 2025: The operating control opened at 7.5 psi, "
        "too close to the high limit to do its work."
    )


def deferral(boiler: Boiler, rule: str, since: datetime, until: datetime | None) -> ActFact:
    found = next(d for d in boiler.judged().deficiencies if d.rule == rule)
    return ActFact(
        "deferred", deficiency_id(boiler.evidence().boiler, found.position, rule, found.episode), since, until
    )


def closed_late() -> Boiler:
    return Boiler().service().visit(1, CONTROL).visit(30, act("control", "adjust")).visit(31, proof("control"))


RULE = "operating_control_failed"


@pytest.mark.parametrize(
    ("since", "until", "left"),
    [
        (at(31), None, [(PAST, at(31))]),  # decided as it was closed: there was nothing left to defer
        (at(20), at(31), [(PAST, at(20))]),
        (at(20), at(31) - INSTANT, [(PAST, at(20)), (at(31) - INSTANT, at(31))]),
    ],
)
def test_a_deferral_at_the_end_of_a_deficiency(
    since: datetime, until: datetime | None, left: list[tuple[datetime, datetime | None]]
) -> None:
    boiler = closed_late()
    assert spans(told(boiler, "past_date", deferral(boiler, RULE, since, until))) == left


def test_deferrals_silence_the_same_times_in_whatever_order_they_are_told() -> None:
    boiler = Boiler().service().visit(1, CONTROL)
    one, two = deferral(boiler, RULE, at(25), at(30)), deferral(boiler, RULE, at(12), at(20))
    assert spans(told(boiler, "past_date", one, two))[:3] == [(PAST, at(12)), (at(20), at(25)), (at(30), None)]


def test_a_deferral_inside_a_longer_one_does_not_end_it() -> None:
    boiler = Boiler().service().visit(1, CONTROL)
    both = deferral(boiler, RULE, at(2), at(30)), deferral(boiler, RULE, at(3), at(15))
    assert spans(told(boiler, "past_date", *both)) == [(at(30), None)]
    later = deferral(boiler, RULE, at(15), at(20)), deferral(boiler, RULE, at(12), at(30))
    assert spans(told(boiler, "past_date", *later)) == [(PAST, at(12)), (at(30), None)]


@pytest.mark.parametrize(("off", "silent"), tuple(zip(AROUND, (False, True, True), strict=True)))
def test_only_what_was_decided_since_it_is_urgent_defers_it(off: timedelta, silent: bool) -> None:
    # The set pressure is routine when it is first seen and urgent from the season after.
    boiler = Boiler().service().visit(355, proof("valve"))
    rule = "set_pressure_unproven"
    (found,) = [d for d in boiler.judged().deficiencies if d.rule == rule]
    urgent = found.levels[-1].since
    acts = deferral(boiler, rule, urgent + off, None)
    conditions = judge(boiler.evidence(), (acts,), at(400)).conditions
    assert any(c.condition == "past_date" and "set pressure" in c.sentence for c in conditions) is not silent


def test_what_closes_with_its_cause_was_never_repaired_and_waiting_for_proof() -> None:
    boiler = Boiler().service().sets(2, "upper", "needed", False)
    boiler.fittings.append(replace(boiler.fittings[1], device=None, kind="", since=at(1)))
    assert told(boiler, "repaired_not_proven") == []


def test_a_repair_is_told_with_its_day_and_what_was_found() -> None:
    boiler = Boiler().service().visit(1, CONTROL).visit(2, act("control", "adjust"))
    (found,) = told(boiler, "repaired_not_proven")
    assert found.sentence == (
        "Said to be repaired on Fri 17 Oct 2025 and not proven since: The operating control opened at 7.5 psi, "
        "too close to the high limit to do its work."
    )


def test_the_first_word_of_a_repair_counts_until_it_is_found_again() -> None:
    boiler = Boiler().service().visit(1, CONTROL).visit(4, act("control", "adjust"))
    rule = deficiency_id(boiler.evidence().boiler, ident("control"), RULE, 1)
    reports = [ActFact("repair_reported", rule, at(n)) for n in (3, 2)]
    assert spans(told(boiler, "repaired_not_proven", *reports)) == [(at(2), None)]
    again = boiler.visit(5, CONTROL)
    assert told(again, "repaired_not_proven", *reports) == []


BOILER_PAPER = PaperFact("certificate", "boiler certificate", at(-100), date(2026, 3, 31))


def papers(*found: PaperFact) -> list[Condition]:
    evidence = replace(Boiler().service().evidence(), papers=found)
    return [c for c in judge(evidence, (), at(400)).conditions if c.condition == "certificate_running_out"]


def test_another_kind_of_paper_does_not_take_a_certificates_place() -> None:
    other = PaperFact("insurance", "insurance letter", at(1), date(2030, 1, 31))
    assert len(papers(BOILER_PAPER, other)) == 2
    assert papers(BOILER_PAPER)[0].sentence == "The boiler certificate runs out on Tue 31 Mar 2026."


def test_a_certificate_that_comes_late_is_told_from_the_day_it_came() -> None:
    late = replace(BOILER_PAPER, since=local(date(2026, 3, 25)))
    assert spans(papers(late)) == [(late.since, None)]


def test_a_proof_due_soon_is_no_longer_told_once_the_device_is_down() -> None:
    soon, down = SEASON_START - timedelta(days=14), local(date(2026, 9, 25), 10)
    boiler = Boiler().service().visit(day(down), see("limit", "jumper_found"))
    found = [c for c in told(boiler, "due_soon") if c.subject == ident("limit")]
    assert spans(found) == [(soon, down)]
    assert found[0].sentence == "The full proof of the high limit is due on Thu 01 Oct 2026."


def test_a_device_replaced_before_its_date_is_not_told_of_by_the_old_ones() -> None:
    boiler = Boiler().service().visit(day(local(date(2026, 9, 1))), swap("limit", set_psi=8.0))
    assert [c for c in told(boiler, "due_soon") if c.subject == ident("limit")] == []
