"""One event of one visit is one alert: what else it left against firing are lines of the hold that it brought."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from uuid import UUID

from fleet.rules.timeline.boundaries import Timeline
from fleet.rules.values import Condition, ReadinessAnswer


def match_holds(
    timeline: Timeline, conditions: Sequence[Condition], answers: Mapping[UUID, ReadinessAnswer]
) -> dict[UUID, Condition]:
    """Return, by visit, the hold that began or was raised anew by what the visit found. Other answers have none."""
    holds = [c for c in conditions if c.condition == "hold"]
    begun = {visit.id: min([visit.at, *(e.at for e in visit.entries)]) for visit in timeline.evidence.visits}
    matched = {}
    for visit in answers:
        first, last = begun.get(visit), timeline.run.after[visit].at
        hold = next((h for h in holds if first and any(first <= at <= last for at in _raised_at(h))), None)
        if hold is not None:
            matched[visit] = hold
    return matched


def with_lines(
    conditions: Sequence[Condition], matched: Mapping[UUID, Condition], answers: Mapping[UUID, ReadinessAnswer]
) -> list[Condition]:
    """Return the conditions, each matched hold with what its newest visit left against firing beside its own cause."""
    newest: dict[datetime, ReadinessAnswer] = {}
    for visit, hold in matched.items():
        if hold.since not in newest or newest[hold.since].at <= answers[visit].at:
            newest[hold.since] = answers[visit]
    return [
        replace(c, lines=_other_lines(c, newest[c.since])) if c.condition == "hold" and c.since in newest else c
        for c in conditions
    ]


def _raised_at(hold: Condition) -> list[datetime]:
    return [hold.since, *(step.at for step in hold.steps if step.is_raised)]


def _other_lines(hold: Condition, answer: ReadinessAnswer) -> tuple[str, ...]:
    """Return the lines of an answer that do not say again what the hold says itself."""
    said = tuple(_without_day(sentence) for sentence in (hold.sentence, *(step.sentence for step in hold.steps)))
    return tuple(item.sentence for item in answer.missing if not _without_day(item.sentence).endswith(said))


def _without_day(sentence: str) -> str:
    """Return a sentence without the day that stands after it, as in "... (Thu 16 Oct 2025)"."""
    return sentence.rpartition(" (")[0] if sentence.endswith(")") else sentence
