"""What somebody should know, each with the instant it began and, once it stopped, the instant it ended."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from itertools import zip_longest
from uuid import UUID

from fleet.rules.answers.firing import fired_while_off_conditions, hold_but_firing_conditions
from fleet.rules.answers.hold_steps import with_steps
from fleet.rules.answers.one_event import match_holds, say_once, unsaid_items, with_lines
from fleet.rules.answers.overdue import (
    certificate_conditions,
    due_soon_conditions,
    missed_season_conditions,
    past_date_alerts,
    repaired_not_proven,
)
from fleet.rules.answers.readiness import MINOR_ITEMS
from fleet.rules.timeline.boundaries import Timeline
from fleet.rules.values import (
    ActFact,
    Condition,
    FiringAnswer,
    Level,
    MissingItem,
    PositionStateSegment,
    ReadinessAnswer,
    Standing,
    StandingSegment,
    State,
)

_OF_STANDING = {Standing.HOLD: Level.HOLD, Standing.EXPOSED: Level.URGENT}
_OF_STATE = {State.DUE: Level.ROUTINE, State.LAPSED: Level.URGENT}


def gather_conditions(
    timeline: Timeline,
    states: Sequence[PositionStateSegment],
    standings: Sequence[StandingSegment],
    readiness: Sequence[ReadinessAnswer],
    acts: Sequence[ActFact],
) -> tuple[Condition, ...]:
    """Return every condition of the boiler that held, holds or will hold by time alone, in the order they begin."""
    answers = {r.visit: r for r in readiness}
    of_standing = list(_standing_conditions(timeline, standings))
    holds = match_holds(timeline, of_standing, answers)
    gathered = [
        *with_lines(timeline, of_standing, holds, answers),
        *hold_but_firing_conditions(timeline, [c for c in of_standing if c.condition == "hold"]),
        *_against_firing_conditions(timeline, answers, holds, [c for c in of_standing if c.condition == "hold"]),
        *_lapse_conditions(timeline, states),
        *due_soon_conditions(timeline, states),
        *past_date_alerts(timeline, acts),
        *repaired_not_proven(timeline, acts),
        *certificate_conditions(timeline),
        *fired_while_off_conditions(timeline),
        *missed_season_conditions(timeline),
    ]
    return tuple(sorted(gathered, key=lambda c: (c.since, c.condition, c.subject)))


def _standing_conditions(timeline: Timeline, standings: Sequence[StandingSegment]) -> Iterator[Condition]:
    """Yield hold and exposed. Neighboring segments of one standing are one condition, whatever their reasons."""
    boiler = timeline.evidence.boiler
    open_: Condition | None = None
    for segment in standings:
        level = _OF_STANDING.get(segment.standing)
        if open_ and (level is None or open_.condition != segment.standing.value):
            yield _kept_up(timeline, open_, standings)
            open_ = None
        if level is not None and segment.since is not None:
            since = open_.since if open_ else segment.since
            sentence = open_.sentence if open_ else segment.reasons[0].sentence
            open_ = Condition(
                segment.standing.value, boiler, since=since, until=segment.until, level=level, sentence=sentence
            )
    if open_:
        yield _kept_up(timeline, open_, standings)


def _kept_up(timeline: Timeline, condition: Condition, standings: Sequence[StandingSegment]) -> Condition:
    return with_steps(timeline, condition, standings) if condition.condition == "hold" else condition


def _lapse_conditions(timeline: Timeline, states: Sequence[PositionStateSegment]) -> Iterator[Condition]:
    """Yield due and lapsed of each position while the boiler's clocks run.

    One condition stays one however often its reason changes.
    """
    for begin, end, segment in _join_runs(states):
        level = _OF_STATE.get(segment.state)
        # The grace of an operator proof changes no state: it only times the reminder.
        first = max((t for t in (begin, segment.remind_at) if t), default=None)
        if level is None or first is None or (end is not None and end <= first):
            continue
        for since, until in _running_spans(timeline, first, end):
            yield Condition(
                segment.state.value,
                segment.position,
                since=since,
                until=until,
                level=level,
                sentence=segment.reason.sentence,
            )


def _join_runs(
    states: Sequence[PositionStateSegment],
) -> Iterator[tuple[datetime | None, datetime | None, PositionStateSegment]]:
    """Join neighboring segments of one position and state. The first of them gives the reason."""
    run: list[PositionStateSegment] = []
    for segment in states:
        if run and (segment.position, segment.state, segment.since) != (run[0].position, run[0].state, run[-1].until):
            yield run[0].since, run[-1].until, run[0]
            run = []
        run.append(segment)
    if run:
        yield run[0].since, run[-1].until, run[0]


def _running_spans(
    timeline: Timeline, since: datetime, until: datetime | None
) -> Iterator[tuple[datetime, datetime | None]]:
    """Yield the parts of a span in which the boiler was in service or on hot standby.

    A change between the two does not cut a part.
    """
    changes = {max(s.since, since) for s in timeline.services if until is None or s.since < until}
    begun: datetime | None = None
    for cut in sorted({since, *changes}):
        runs = timeline.service_at(cut).runs
        if begun and not runs:
            yield begun, cut
        begun = (begun or cut) if runs else None
    if begun:
        yield begun, until


def _against_firing_conditions(
    timeline: Timeline,
    answers: Mapping[UUID, ReadinessAnswer],
    hold_by_visit: Mapping[UUID, Condition],
    holds: Sequence[Condition],
) -> Iterator[Condition]:
    """Yield what stands against firing, or was not examined, until a later visit that had the boiler in hand.

    While a hold that the same visit brought is open, its alert says it, and what any open hold says is not said twice.
    """
    ends = sorted((timeline.run.after[visit].at, visit) for visit in answers)
    for (at, visit), following in zip_longest(ends, ends[1:]):
        answer, until = answers[visit], following[0] if following else None
        open_hold = next((h for h in holds if h.since <= at and (h.until is None or at < h.until)), None)
        items = unsaid_items(open_hold, answer, at) if open_hold else list(answer.missing)
        telling_hold = hold_by_visit.get(visit) or (None if items else open_hold)
        if not answer.answer.is_open or (telling_hold and telling_hold.until is None):
            continue
        if telling_hold is None:
            yield from _against_firing(
                timeline, answer, span=(at, until), items=items, with_lines=open_hold is not None
            )
        elif telling_hold.until is not None:  # told by its alert as long as it stood
            yield from _against_firing(timeline, answer, (max(at, telling_hold.until), until), answer.missing)


def _against_firing(
    timeline: Timeline,
    answer: ReadinessAnswer,
    span: tuple[datetime, datetime | None],
    items: Sequence[MissingItem],
    *,
    with_lines: bool = False,
) -> Iterator[Condition]:
    """Yield what one answer says over a span: its first item, and with lines the others beside it."""
    begin, until = span
    if until is not None and until <= begin:
        return
    is_minor = all(item.what.startswith(MINOR_ITEMS) for item in items)
    # What is only not examined is silent while the boiler is off, as lapses are.
    whole = answer.answer is FiringAnswer.SOMETHING_DOES
    for since, end in [(begin, until)] if whole else _running_spans(timeline, begin, until):
        yield Condition(
            "against_firing",
            timeline.evidence.boiler,
            since=since,
            until=end,
            level=Level.ROUTINE if is_minor else Level.URGENT,
            sentence=items[0].sentence,
            lines=tuple(s for s in say_once(items) if s != items[0].sentence) if with_lines else (),
        )
