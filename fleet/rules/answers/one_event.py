"""One event of one visit is one alert: what else it left against firing are lines of the hold that it brought."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from uuid import UUID

from fleet.rules.timeline.boundaries import Timeline
from fleet.rules.values import Condition, Level, MissingItem, ReadinessAnswer


def match_holds(
    timeline: Timeline, conditions: Sequence[Condition], answers: Mapping[UUID, ReadinessAnswer]
) -> dict[UUID, Condition]:
    """Return, by visit, the hold that began or was raised anew by what the visit found. Other answers have none."""
    holds = [c for c in conditions if c.condition == "hold"]
    visits_that_found = _visits_that_found(timeline)
    begin_by_visit = {visit.id: min([visit.at, *(e.at for e in visit.entries)]) for visit in timeline.evidence.visits}
    matched: dict[UUID, Condition] = {}
    for visit in answers.keys() & begin_by_visit.keys():
        first, last = begin_by_visit[visit], timeline.run.after[visit].at
        for hold in holds:
            # What came of no finding, as a device taken off, is of the visit during which it came.
            if any(first <= at <= last and visit in visits_that_found.get(at, {visit}) for at in _raised_at(hold)):
                matched.setdefault(visit, hold)
    return matched


def _visits_that_found(timeline: Timeline) -> Mapping[datetime, set[UUID]]:
    """Return, by the instant at which an episode became a hold, the visits whose entries began such episodes."""
    visit_by_entry = {e.id: v.id for v in timeline.evidence.visits for e in v.entries}
    visits_by_instant: dict[datetime, set[UUID]] = defaultdict(set)
    for case, levels in zip(timeline.cases, timeline.levels, strict=True):
        visit = visit_by_entry.get(case.entry) if case.entry else None
        hold_since = next((s.since for s in levels if s.level is Level.HOLD), None)
        if visit is not None and hold_since is not None:
            visits_by_instant[hold_since].add(visit)
    return visits_by_instant


def with_lines(
    timeline: Timeline,
    conditions: Sequence[Condition],
    matched: Mapping[UUID, Condition],
    answers: Mapping[UUID, ReadinessAnswer],
) -> list[Condition]:
    """Return the conditions, each hold with what else its visit left against firing.

    The next answer about the boiler ends the lines: from then on that one says what stands against firing it.
    """
    return [
        replace(c, lines=_lines_of_hold(timeline, c, matched, answers.values())) if c.condition == "hold" else c
        for c in conditions
    ]


def _lines_of_hold(
    timeline: Timeline, hold: Condition, matched: Mapping[UUID, Condition], answers: Iterable[ReadinessAnswer]
) -> tuple[str, ...]:
    newest_answer = max((a for a in answers if _is_of_hold(a, hold, matched)), key=lambda a: a.at, default=None)
    if newest_answer is None or newest_answer.visit not in matched:
        return ()
    items = unsaid_items(hold, newest_answer, timeline.run.after[newest_answer.visit].at)
    return say_once(items)


def _is_of_hold(answer: ReadinessAnswer, hold: Condition, matched: Mapping[UUID, Condition]) -> bool:
    """Return whether an answer is of the visit that brought the hold, or was given while it was open."""
    own_hold = matched.get(answer.visit)
    if own_hold is not None:
        return own_hold.since == hold.since
    return hold.since <= answer.at and (hold.until is None or answer.at < hold.until)


def _raised_at(hold: Condition) -> list[datetime]:
    return [hold.since, *(step.at for step in hold.steps if step.is_raised)]


def unsaid_items(hold: Condition, answer: ReadinessAnswer, at: datetime) -> list[MissingItem]:
    """Return what an answer lists and the hold's alert does not say itself at `at`, the end of the visit.

    What the alert will say only later, by time alone, must not be missing from it today.
    """
    own_sentence = _without_day(hold.sentence_at(at))
    return [item for item in answer.missing if not _without_day(item.sentence).endswith(own_sentence)]


def say_once(items: Iterable[MissingItem]) -> tuple[str, ...]:
    """Return the sentences of these items, each thing once: "X (Thu 16 Oct 2025)" is left out beside "Hold open: X"."""
    sentences = list(dict.fromkeys(item.sentence for item in items))
    plain = [_without_day(sentence) for sentence in sentences]
    return tuple(
        sentence
        for number, sentence in enumerate(sentences)
        if not any(line.endswith(f": {plain[number]}") for n, line in enumerate(plain) if n != number)
    )


def _without_day(sentence: str) -> str:
    """Return a sentence without the day that stands after it, as in "... (Thu 16 Oct 2025)"."""
    return sentence.rpartition(" (")[0] if sentence.endswith(")") else sentence
