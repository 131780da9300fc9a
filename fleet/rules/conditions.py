"""What somebody should know, each with the instant it began and, once it stopped, the instant it ended."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from itertools import zip_longest

from fleet.rules.boundaries import Timeline
from fleet.rules.firing import hold_but_firing
from fleet.rules.overdue import certificates, due_soon, past_their_date, repaired_not_proven, season_without_visit
from fleet.rules.readiness import took_out
from fleet.rules.values import Act, Condition, Level, Readiness, Standing, StandingSegment, State, StateSegment

_OF_STANDING = {Standing.HOLD: Level.HOLD, Standing.EXPOSED: Level.URGENT}
_OF_STATE = {State.DUE: Level.ROUTINE, State.LAPSED: Level.URGENT}


def conditions(
    timeline: Timeline,
    states: Sequence[StateSegment],
    standings: Sequence[StandingSegment],
    readiness: Sequence[Readiness],
    acts: Sequence[Act],
) -> tuple[Condition, ...]:
    """Every condition of the boiler that held, holds or will hold by time alone, in the order they begin."""
    found = [*_standing(timeline, standings), *_lapses(timeline, states), *_not_ready(timeline, readiness)]
    found += [*past_their_date(timeline, acts), *repaired_not_proven(timeline, acts), *due_soon(timeline, states)]
    found += certificates(timeline)
    found += [*season_without_visit(timeline), *hold_but_firing(timeline, [c for c in found if c.condition == "hold"])]
    return tuple(sorted(found, key=lambda c: (c.since, c.condition, c.subject)))


def _standing(timeline: Timeline, standings: Sequence[StandingSegment]) -> Iterator[Condition]:
    """Hold and exposed, one condition for a run of segments whatever their reasons."""
    boiler = timeline.evidence.boiler
    open_: Condition | None = None
    for segment in standings:
        level = _OF_STANDING.get(segment.standing)
        if open_ and (level is None or open_.condition != segment.standing.value):
            yield open_
            open_ = None
        if level is not None and segment.since is not None:
            since = open_.since if open_ else segment.since
            sentence = open_.sentence if open_ else segment.reasons[0].sentence
            open_ = Condition(segment.standing.value, boiler, since, segment.until, level, sentence)
    if open_:
        yield open_


def _lapses(timeline: Timeline, states: Sequence[StateSegment]) -> Iterator[Condition]:
    """Due and lapsed, per position, while the boiler's clocks run; one condition however often its reason changes."""
    for begin, end, segment in _runs(states):
        level = _OF_STATE.get(segment.state)
        # The grace of an operator proof changes no state: it only times the reminder.
        first = max((t for t in (begin, segment.remind_at) if t), default=None)
        if level is None or first is None or (end is not None and end <= first):
            continue
        for since, until in _running(timeline, first, end):
            yield Condition(segment.state.value, segment.position, since, until, level, segment.reason.sentence)


def _runs(states: Sequence[StateSegment]) -> Iterator[tuple[datetime | None, datetime | None, StateSegment]]:
    """Join neighbouring segments of one position and state; the first of them gives the reason."""
    run: list[StateSegment] = []
    for segment in states:
        if run and (segment.position, segment.state, segment.since) != (run[0].position, run[0].state, run[-1].until):
            yield run[0].since, run[-1].until, run[0]
            run = []
        run.append(segment)
    if run:
        yield run[0].since, run[-1].until, run[0]


def _running(timeline: Timeline, since: datetime, until: datetime | None) -> Iterator[tuple[datetime, datetime | None]]:
    """The parts of a span in which the boiler was in service or on hot standby; from one to the other is no cut."""
    within = {s.since for s in timeline.services if s.since > since and (until is None or s.since < until)}
    begun: datetime | None = None
    for cut in (since, *sorted(within)):
        runs = timeline.service_at(cut).runs
        if begun and not runs:
            yield begun, cut
        begun = (begun or cut) if runs else None
    if begun:
        yield begun, until


def _not_ready(timeline: Timeline, readiness: Sequence[Readiness]) -> Iterator[Condition]:
    """Not ready, or can't say, until a later visit that had the boiler in hand; a routine check is no such visit."""
    in_hand = {v.id for v in timeline.evidence.visits if took_out(timeline.evidence, v)}
    answers = {r.visit: r for r in readiness if r.visit in in_hand}
    ends = sorted((timeline.run.after[visit].at, visit) for visit in answers)
    for (at, visit), following in zip_longest(ends, ends[1:]):
        answer, until = answers[visit], following[0] if following else None
        if answer.answer != "ready" and (until is None or until > at):
            sentence = answer.missing[0].sentence
            yield Condition("not_ready", timeline.evidence.boiler, at, until, Level.URGENT, sentence)
