"""The replay of a job and its alerts from acts and evidence as values: each boundary before, at and after."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

import pytest

from fleet.jobs.course import JobFacts, job_conditions, next_instant, replay_job, step_at
from fleet.jobs.models import JobAct
from fleet.rules.values import Level, LevelSegment
from tests.cast import DAY, NOW

HOUR = timedelta(hours=1)
SECOND = timedelta(seconds=1)
BOILER, OTHER, VISIT = uuid4(), uuid4(), uuid4()
MIDNIGHT = datetime.fromisoformat("2026-01-14T00:00:00-05:00")  # the end of Tuesday


def facts(settled: Any = None, visits: Any = None, waiting: Any = None) -> JobFacts:
    return JobFacts(uuid4(), NOW, "America/New_York", settled, waiting or {BOILER: None}, visits or {})


def act(kind: str, at: datetime, number: int = 1, since: datetime = NOW + DAY) -> JobAct:
    """A plan is for two hours."""
    until = since + 2 * HOUR if kind == "plan" else None
    return JobAct(kind=kind, at=at, acted_on=number, since=since if until else None, until=until)


PLAN, ACCEPT, START = act("plan", NOW + HOUR), act("accept", NOW + 2 * HOUR, 2), act("start", NOW + DAY, 3)
BEGUN = (PLAN, ACCEPT, START)


def way(known: JobFacts, acts: Sequence[JobAct]) -> list[str]:
    return [step.status for step in replay_job(known, acts)]


@pytest.mark.parametrize(
    ("acts", "expected"),
    [
        ([], ["to_plan"]),
        ([PLAN], ["to_plan", "planned", "missed"]),
        ([PLAN, ACCEPT], ["to_plan", "planned", "accepted", "missed"]),
        (BEGUN, ["to_plan", "planned", "accepted", "started", "missed"]),
        ([PLAN, act("decline", NOW + 2 * HOUR, 2)], ["to_plan", "planned", "declined"]),
        ([PLAN, act("withdraw", NOW + 2 * HOUR, 2)], ["to_plan", "planned", "to_plan"]),
        ([PLAN, ACCEPT, act("withdraw", NOW + 3 * HOUR, 3)], ["to_plan", "planned", "accepted", "to_plan"]),
        ([*BEGUN, act("withdraw", NOW + DAY + 2 * HOUR, 9)], ["to_plan", "planned", "accepted", "started", "missed"]),
        ([act("cancel", NOW + HOUR)], ["to_plan", "cancelled"]),
    ],
)
def test_what_follows_from_acts_and_time_alone(acts: Sequence[JobAct], expected: list[str]) -> None:
    assert way(facts(), acts) == expected


@pytest.mark.parametrize(("offset", "status"), [(-SECOND, "planned"), (0 * SECOND, "missed"), (SECOND, "missed")])
def test_a_planned_day_ends_with_the_buildings_midnight(offset: timedelta, status: str) -> None:
    assert step_at(replay_job(facts(), [PLAN]), MIDNIGHT + offset).status == status


@pytest.mark.parametrize(
    ("ended", "expected"),
    [(NOW + DAY - SECOND, "missed"), (NOW + DAY, "back"), (MIDNIGHT - SECOND, "back"), (MIDNIGHT + SECOND, "missed")],
)
def test_a_visit_brings_it_back_from_the_start_to_the_end_of_its_day(ended: datetime, expected: str) -> None:
    assert way(facts(visits={BOILER: [(ended, VISIT)]}), BEGUN)[-1] == expected


def test_it_comes_back_with_the_last_boiler_and_names_its_visit() -> None:
    visits = {BOILER: [(NOW + DAY + HOUR, uuid4())], OTHER: [(NOW + DAY + 2 * HOUR, VISIT)]}
    last = replay_job(facts(visits=visits, waiting={BOILER: None, OTHER: None}), BEGUN)[-1]
    assert last.status == "back"
    assert last.since == NOW + DAY + 2 * HOUR
    assert last.visit == VISIT


@pytest.mark.parametrize("acts", [[], [PLAN], [PLAN, ACCEPT], BEGUN])
def test_proof_ends_it_wherever_it_is(acts: Sequence[JobAct]) -> None:
    known = facts(settled=("all_settled", NOW + DAY + HOUR, VISIT))
    assert way(known, acts)[-1] == "proven"


def test_acts_overtaken_by_late_evidence_have_no_effect() -> None:
    assert way(facts(settled=("all_settled", NOW, VISIT)), BEGUN) == ["to_plan", "proven"]


def test_what_was_cancelled_stays_cancelled() -> None:
    known = facts(settled=("all_settled", NOW + DAY, VISIT))
    assert way(known, [act("cancel", NOW + HOUR)]) == ["to_plan", "cancelled"]


def test_a_cause_that_was_withdrawn_is_no_proof() -> None:
    assert way(facts(settled=("all_withdrawn", NOW, None)), []) == ["to_plan", "not_needed"]


def told(acts: Sequence[JobAct], level: str = "hold") -> list[tuple[str, datetime, datetime | None]]:
    return told_of(acts, asked(level))


def told_of(acts: Sequence[JobAct], classes: Sequence[LevelSegment]) -> list[tuple[str, datetime, datetime | None]]:
    known = facts()
    return [(c.condition, c.since, c.until) for c in job_conditions(known, replay_job(known, acts), classes, "x", NOW)]


def asked(level: str) -> list[LevelSegment]:
    return [LevelSegment(NOW, None, Level(level))]


@pytest.mark.parametrize(("level", "lead"), [("hold", 4 * HOUR), ("urgent", DAY), ("routine", 7 * DAY)])
def test_not_planned_is_told_after_its_lead(level: str, lead: timedelta) -> None:
    assert told([], level) == [("job_not_planned", NOW + lead, None)]


@pytest.mark.parametrize(
    ("risen", "until", "since"),
    [
        (NOW + 2 * HOUR, None, NOW + 6 * HOUR),  # the lead of a hold from when it is one
        (NOW + 20 * HOUR, None, NOW + DAY),  # no later than what was asked gives
        (NOW + 2 * HOUR, NOW + 5 * HOUR, NOW + DAY),  # no hold any more before its lead is over
        (NOW + 2 * HOUR, NOW + 6 * HOUR, NOW + DAY),
        (NOW + 2 * HOUR, NOW + 6 * HOUR + SECOND, NOW + 6 * HOUR),
    ],
)
def test_what_becomes_worse_has_the_lead_of_its_class_from_then_on(risen: Any, until: Any, since: datetime) -> None:
    assert told_of([], [*asked("urgent"), LevelSegment(risen, until, Level.HOLD)]) == [("job_not_planned", since, None)]


@pytest.mark.parametrize(
    ("planned", "starts", "since"),
    [
        (NOW, NOW + 2 * DAY, "2026-01-13T18:00:00-05:00"),  # the evening before
        (NOW + 8 * HOUR, NOW + DAY, "2026-01-12T19:00:00-05:00"),  # planned at five, two hours on
        (NOW, NOW + HOUR, "2026-01-12T10:00:00-05:00"),  # at the latest when it begins
    ],
)
def test_not_accepted_is_told_from(planned: datetime, starts: datetime, since: str) -> None:
    assert told([act("plan", planned, 1, starts)], "routine")[0][:2] == (
        "job_not_accepted",
        datetime.fromisoformat(since),
    )


def test_accepted_in_time_is_never_told() -> None:
    assert "job_not_accepted" not in [c for c, *_ in told([PLAN, ACCEPT])]


def test_past_its_day_is_told_until_it_is_planned_again() -> None:
    again = act("plan", MIDNIGHT + HOUR, 2, NOW + 5 * DAY)
    assert ("job_past_day", MIDNIGHT, MIDNIGHT + HOUR) in told([PLAN, again])


def test_the_next_instant_is_the_first_to_come() -> None:
    known = facts()
    steps = replay_job(known, [PLAN])
    listed = job_conditions(known, steps, asked("hold"), "x", NOW)
    evening = datetime.fromisoformat("2026-01-12T18:00:00-05:00")
    assert [next_instant(steps, listed, at) for at in (NOW + HOUR, evening, MIDNIGHT)] == [
        evening,
        MIDNIGHT,
        MIDNIGHT + 4 * HOUR,
    ]


def test_nobody_is_told_of_what_is_over() -> None:
    known = facts(settled=("all_settled", NOW + HOUR, UUID(int=1)))
    assert job_conditions(known, replay_job(known, []), asked("hold"), "x", NOW) == []
