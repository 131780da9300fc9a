"""What people decide silences or begins a reminder and changes nothing that is known of the boiler."""

from dataclasses import replace
from datetime import date, datetime, timedelta
from uuid import UUID

import pytest

from fleet.rules import judge
from fleet.rules.values import ActFact, JudgedDeficiency, Judgement, deficiency_id
from tests.rules.build import Boiler, act, at, local, proof

INSTANT = timedelta(microseconds=1)
PAST = local(date(2025, 10, 24))  # found on 16 October, urgent: seven days to put it right
CONTROL = proof("control", trip_psi=7.5)


def urgent() -> Boiler:
    return Boiler().service().visit(1, CONTROL)


def id_of(boiler: Boiler, rule: str = "operating_control_failed") -> JudgedDeficiency:
    return next(d for d in boiler.judged().deficiencies if d.rule == rule)


def decided(boiler: Boiler, *acts: ActFact) -> Judgement:
    return judge(boiler.evidence(), acts, at(400))


def subject(boiler: Boiler, rule: str = "operating_control_failed") -> UUID:
    found = id_of(boiler, rule)
    return deficiency_id(boiler.evidence().boiler, found.position, found.rule, found.episode)


def spans(found: Judgement, condition: str, word: str = "operating control") -> list[tuple[datetime, datetime | None]]:
    return [(c.since, c.until) for c in found.conditions if c.condition == condition and word in c.sentence]


def deferral(boiler: Boiler, since: datetime, until: datetime | None) -> ActFact:
    return ActFact("deferred", subject(boiler), since, until)


@pytest.mark.parametrize(
    ("since", "until", "left"),
    [
        (at(2), PAST - INSTANT, [(PAST, None)]),
        (at(2), PAST, [(PAST, None)]),
        (at(2), PAST + INSTANT, [(PAST + INSTANT, None)]),
        (PAST, at(30), [(at(30), None)]),
        (PAST + INSTANT, at(30), [(PAST, PAST + INSTANT), (at(30), None)]),
        (at(2), None, []),
    ],
)
def test_a_deferral_silences_the_reminder_for_its_time_and_no_longer(
    since: datetime, until: datetime | None, left: list[tuple[datetime, datetime | None]]
) -> None:
    boiler = urgent()
    assert spans(decided(boiler, deferral(boiler, since, until)), "past_date") == left


def test_two_deferrals_one_after_the_other_leave_the_time_between() -> None:
    boiler = urgent()
    both = deferral(boiler, at(2), at(20)), deferral(boiler, at(25), at(30))
    assert spans(decided(boiler, *both), "past_date") == [(at(20), at(25)), (at(30), None)]


def test_a_deferral_ends_by_itself_when_the_class_rises() -> None:
    # The set pressure is routine when it is first seen and urgent from the season after.
    boiler = Boiler().service().visit(300, proof("control"))
    rule = "set_pressure_unproven"
    routine = ActFact("deferred", subject(boiler, rule), id_of(boiler, rule).opened_at, None)
    assert spans(decided(boiler, routine), "past_date", "set pressure") == spans(
        decided(boiler), "past_date", "set pressure"
    )


def test_a_deferral_never_improves_a_state_a_finding_or_a_standing() -> None:
    boiler = urgent()
    with_act, without = decided(boiler, deferral(boiler, at(2), None)), decided(boiler)
    assert replace(with_act, conditions=without.conditions) == without


def test_a_reported_repair_is_repaired_and_not_proven_until_its_proof() -> None:
    boiler = urgent()
    report = ActFact("repair_reported", subject(boiler), at(3))
    assert spans(decided(boiler, report), "repaired_not_proven") == [(at(3), None)]
    boiler.visit(5, act("control", "adjust"), proof("control"))
    end = boiler.visits[-1].entries[1].at
    assert spans(decided(boiler, report), "repaired_not_proven") == [(at(3), end)]


@pytest.mark.parametrize(("said", "counts"), [(at(3) - INSTANT, False), (at(3), True), (at(3) + INSTANT, True)])
def test_what_is_found_again_was_not_repaired(said: datetime, counts: bool) -> None:
    boiler = urgent().visit(3, CONTROL)
    report = ActFact("repair_reported", subject(boiler), said)
    assert bool(spans(decided(boiler, report), "repaired_not_proven")) is counts


def test_a_report_of_another_deficiency_says_nothing_of_this_one() -> None:
    boiler = urgent()
    assert (
        spans(decided(boiler, ActFact("repair_reported", boiler.evidence().boiler, at(3))), "repaired_not_proven") == []
    )
