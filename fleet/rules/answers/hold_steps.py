"""How a hold's alert keeps up: it says the present worst reason, and is raised anew for a further cause."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from fleet.rules.timeline.boundaries import Timeline, endangers_people
from fleet.rules.values import Condition, ConditionStep, Level, Standing, StandingSegment
from fleet.rules.vocabulary import LeftAs


def with_steps(timeline: Timeline, condition: Condition, standings: Sequence[StandingSegment]) -> Condition:
    """Return a hold's condition with what it says from when on."""
    said = {s.since: s.reasons[0].sentence for s in standings if _is_within(s, condition)}
    raised = _raised_at(timeline, condition)
    steps: list[ConditionStep] = []
    sentence = condition.sentence
    for at in sorted({*said, *raised} - {condition.since, None}, key=lambda t: t or condition.since):
        if at is None or (said.get(at, sentence) == sentence and at not in raised):
            continue
        sentence = said.get(at, sentence)
        steps.append(ConditionStep(at, sentence, is_raised=at in raised))
    return replace(condition, steps=tuple(steps))


def _is_within(segment: StandingSegment, condition: Condition) -> bool:
    if segment.standing is not Standing.HOLD or segment.since is None or segment.since < condition.since:
        return False
    return condition.until is None or segment.since < condition.until


def _raised_at(timeline: Timeline, condition: Condition) -> set[datetime]:
    """Return when visits after the first brought a further cause, once a visit.

    Where the visit left the boiler locked off only the feed says so, but for what endangers people.
    """
    visits = {e.id: v for v in timeline.evidence.visits for e in v.entries}
    first: dict[object, datetime] = {}
    for case, levels in zip(timeline.cases, timeline.levels, strict=True):
        visit = visits.get(case.entry) if case.entry else None
        begun = next((s.since for s in levels if s.level is Level.HOLD), None)
        if visit is None or begun is None or begun < condition.since:
            continue
        if condition.until is not None and begun >= condition.until:
            continue
        if visit.left_as == LeftAs.OFF_LOCKED and not endangers_people(case.rule) and begun > condition.since:
            continue
        first[visit.id] = min(begun, first.get(visit.id, begun))
    opened_it = {visit for visit, at in first.items() if at == condition.since}
    return {at for visit, at in first.items() if visit not in opened_it}
