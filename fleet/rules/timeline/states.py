"""What is known of one position at each instant: section by section from its snapshots, and from time alone between."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime
from itertools import pairwise

from fleet.calendar import day_start
from fleet.rules.ledger.clocks import Clock, clock_steps, full_clocks, full_proofs, is_looser_than_source
from fleet.rules.ledger.episodes import EpisodeCase, OutstandingTouch
from fleet.rules.ledger.records import PositionRecord, PositionSnapshot, ReplayLedger, StateSection
from fleet.rules.timeline import end_of_life
from fleet.rules.values import LawInForce, PositionStateSegment, Reason, State
from fleet.rules.wording import agree, asked_for, local_day


def state_segments(
    ledger: ReplayLedger,
    record: PositionRecord,
    snapshots: list[PositionSnapshot],
    sections: list[StateSection] | None = None,
) -> Iterator[PositionStateSegment]:
    """Yield the position's states from the beginning of time to its end, without gaps.

    `sections` keeps what was made of each snapshot that another one followed, for who resumes the replay.
    """
    sections = [] if sections is None else sections
    for number, (snapshot, after) in enumerate(pairwise([*snapshots, None])):
        assert snapshot is not None
        episode_sentences = tuple(c.sentence for c in (*snapshot.down, *snapshot.blocked))
        if after is None:
            yield from _section_segments(ledger, record, snapshot, None)
        elif number >= len(sections) or sections[number].episode_sentences != episode_sentences:
            sections[number : number + 1] = [
                StateSection(episode_sentences, tuple(_section_segments(ledger, record, snapshot, after.at)))
            ]
        if after is not None:
            yield from sections[number].segments


def _section_segments(
    ledger: ReplayLedger, record: PositionRecord, snapshot: PositionSnapshot, end: datetime | None
) -> Iterator[PositionStateSegment]:
    for since, until, law in ledger.evidence.laws_between(snapshot.at, end):
        segments = _segments_within(ledger, record, snapshot=snapshot, since=since, until=until, law=law)
        over = end_of_life.expired_at(snapshot, ledger.evidence.zone) if snapshot.end_of_life else None
        yield from segments if over is None else end_of_life.fail_after_expiry(segments, record, over)


def _segments_within(
    ledger: ReplayLedger,
    record: PositionRecord,
    snapshot: PositionSnapshot,
    since: datetime | None,
    until: datetime | None,
    law: LawInForce,
) -> Iterator[PositionStateSegment]:
    fixed_state = timeless_state(ledger, record, snapshot, law)
    if fixed_state is not None:
        is_new = fixed_state[0] is State.NEVER_PROVEN
        due = _declared_due(ledger, snapshot, law) if is_new else None
        marks = _new_marks(snapshot, law) if is_new else ()
        yield PositionStateSegment(record.position.id, since, until, *fixed_state, marks, full_due=due)
        return
    yield from _clocked_segments(ledger, record, snapshot=snapshot, since=since, until=until, law=law)


def _clocked_segments(
    ledger: ReplayLedger,
    record: PositionRecord,
    snapshot: PositionSnapshot,
    since: datetime | None,
    until: datetime | None,
    law: LawInForce,
) -> Iterator[PositionStateSegment]:
    """Yield the segments of a position that only time changes: proven, then due, then lapsed."""
    full = full_clocks(ledger.evidence, snapshot, law)
    steps = [c for c in clock_steps(ledger.evidence, snapshot, law, full) if until is None or c.at < until]
    marks, due = _proof_marks(snapshot, law), next((c.at for c in full if c.state is State.DUE), None)
    for clock, begin, end in _clock_spans(steps, since, until):
        yield PositionStateSegment(
            record.position.id,
            begin,
            until=end,
            state=clock.state if clock else State.PROVEN,
            reason=_overdue_reason(ledger, record, clock) if clock else _proven_reason(ledger, record, snapshot),
            marks=marks,
            remind_at=clock.remind_at if clock else None,
            full_due=due,
        )


def _clock_spans(
    steps: Sequence[Clock], since: datetime | None, until: datetime | None
) -> Iterator[tuple[Clock | None, datetime | None, datetime | None]]:
    """Yield each clock (None: before the first) with the span in which it is the newest; empty spans are left out."""
    starts: list[datetime | None] = [since, *(max(since, c.at) if since else c.at for c in steps)]
    for clock, begin, end in zip((None, *steps), starts, [*starts[1:], until], strict=True):
        if end is None or begin is None or begin < end:
            yield clock, begin, end


def _proof_marks(snapshot: PositionSnapshot, law: LawInForce) -> tuple[str, ...]:
    return (*(["doubtful"] if snapshot.doubted else []), *(["looser"] if is_looser_than_source(law, snapshot) else []))


def _new_marks(snapshot: PositionSnapshot, law: LawInForce) -> tuple[str, ...]:
    """Return the marks of a never proven position: declared, or passed and put in doubt."""
    declared = any(code not in dict(snapshot.proofs) for code, _ in snapshot.declared)
    return (*(["declared"] if declared else []), *_proof_marks(snapshot, law))


def _declared_due(ledger: ReplayLedger, snapshot: PositionSnapshot, law: LawInForce) -> datetime | None:
    """Return when it would be due by what was declared. The date is for planning and never a proof."""
    declared_proofs = tuple((code, day_start(day, ledger.evidence.zone)) for code, day in snapshot.declared)
    steps = full_clocks(ledger.evidence, replace(snapshot, proofs=declared_proofs), law)
    return next((c.at for c in steps if c.state is State.DUE), None)


def timeless_state(
    ledger: ReplayLedger, record: PositionRecord, snapshot: PositionSnapshot, law: LawInForce
) -> tuple[State, Reason] | None:
    """Return the state that time does not change: not fitted, failed, intermittent, never proven. Else None."""
    name = record.position.name
    if not snapshot.on_record:
        it, is_ = agree(record.position, "it"), agree(record.position, "is")
        sentence = f"The register says nothing of the {name} before {it} {is_} on record."
        return State.NOT_ON_RECORD, _state_reason(record, "not_on_record", sentence, snapshot.at)
    if not snapshot.kind:
        sentence = f"No {name} {agree(record.position, 'is')} fitted."
        return State.NOT_FITTED, _state_reason(record, "not_fitted", sentence, snapshot.at)
    down = _down_state(ledger, record, snapshot)
    if down is not None:
        return down
    if snapshot.touches:
        touch = max(snapshot.touches, key=lambda t: t.at)
        when = local_day(touch.at, ledger.evidence.zone)
        sentence = _touched_sentence(record, touch, f"on {when}", tests=asked_for(ledger.evidence, touch.needs))
        return State.NEVER_PROVEN, _state_reason(record, "touched", sentence, touch.at)
    full = full_proofs(ledger.evidence, snapshot, law)
    if full and not any(p.code in dict(snapshot.proofs) for p in full):
        return State.NEVER_PROVEN, _state_reason(
            record, "never_proven", _never_proven_sentence(ledger, record, snapshot), snapshot.fitted_at
        )
    return None


_TOUCHED = {
    "open": "opened",
    "adjust": "adjusted",
    "disconnect": "disconnected",
    "jumper": "jumpered",
    "fitted": "fitted",
    "lift_over_limit": "passed by the pressure of a lever lift",
    "path": "cut off by work on its pipe",
    "return_to_service": "put back in service",
    "lapsed_out_of_service": "put back in service with {its} proof lapsed",
}


def _touched_sentence(record: PositionRecord, touch: OutstandingTouch, when: str, *, tests: str) -> str:
    was, needs = agree(record.position, "was"), agree(record.position, "needs")
    work = _TOUCHED.get(touch.code, "worked on").format(its=agree(record.position, "its"))
    return f"The {record.position.name} {was} {work} {when} and {needs} {tests} since."


def _never_proven_sentence(ledger: ReplayLedger, record: PositionRecord, snapshot: PositionSnapshot) -> str:
    if snapshot.doubted:
        procedure_name = ledger.evidence.procedure_by_code(snapshot.doubted.code).name.lower()
        passed_sentence = (
            f"The {record.position.name} passed {agree(record.position, 'its')} {procedure_name} on "
            f"{local_day(snapshot.doubted.at, ledger.evidence.zone)}"
        )
        return f"{passed_sentence}, but {snapshot.doubted.doubt}: it counts as inconclusive."
    if snapshot.declared:
        code, day = max(snapshot.declared, key=lambda pair: pair[1])
        procedure_name = ledger.evidence.procedure_by_code(code).name.lower()
        name = record.position.name
        is_ = agree(record.position, "is")
        return (
            f"The {name} {is_} only declared proven ({procedure_name}, {day:%a %d %b %Y}): no visit stands behind it."
        )
    has, it, was = (agree(record.position, word) for word in ("has", "it", "was"))
    return f"The {record.position.name} {has} never been proven since {it} {was} fitted."


def _down_state(
    ledger: ReplayLedger, record: PositionRecord, snapshot: PositionSnapshot
) -> tuple[State, Reason] | None:
    zone, name = ledger.evidence.zone, record.position.name
    if snapshot.down:
        case = min(snapshot.down, key=lambda c: c.opened_at)
        state = State.INTERMITTENT if snapshot.intermittent else State.FAILED
        note = " It passed since with nothing done: it still counts as failed." if snapshot.intermittent else ""
        sentence = f"{case.sentence} ({local_day(case.opened_at, zone)}){note}"
        return state, _case_reason(record, case.rule.code, sentence, case)
    if snapshot.blocked:
        case = min(snapshot.blocked, key=lambda c: c.opened_at)
        day, hangs = local_day(case.opened_at, zone), agree(record.position, "hangs")
        sentence = f"The {name} {hangs} on a failed path: {case.sentence} ({day})"
        return State.FAILED, _case_reason(record, "path", sentence, case)
    if snapshot.blind:
        blind = min(snapshot.blind, key=lambda b: b.at)
        path, day = ledger.records[blind.path].position.name, local_day(blind.at, zone)
        was, has = agree(record.position, "was"), agree(record.position, "has")
        sentence = f"The {name} {was} blind behind the {path} since {day} and {has} not acted since."
        return State.FAILED, _state_reason(record, "path", sentence, blind.at)
    return None


def _case_reason(record: PositionRecord, rule: str, sentence: str, case: EpisodeCase) -> Reason:
    return Reason(
        rule,
        sentence,
        hazard=record.role.hazard,
        position=record.position.id,
        entry=case.entry,
        since=case.opened_at,
    )


def _state_reason(record: PositionRecord, rule: str, sentence: str, since: datetime | None) -> Reason:
    return Reason(rule, sentence, hazard=record.role.hazard, position=record.position.id, entry=None, since=since)


def _proven_reason(ledger: ReplayLedger, record: PositionRecord, snapshot: PositionSnapshot) -> Reason:
    if not snapshot.proofs:
        return _state_reason(record, "nothing_asked", f"Nothing is asked of the {record.position.name}.", snapshot.at)
    procedure_by_code = ledger.evidence.procedure_by_code
    code, at = max(snapshot.proofs, key=lambda pair: (pair[1], procedure_by_code(pair[0]).proof == "full"))
    procedure_name = procedure_by_code(code).name.lower()
    paper_of = ledger.paper_passes.get((record.position.id, code, at))
    on_paper = f", on paper of {paper_of}" if paper_of else ""
    when = local_day(at, ledger.evidence.zone)
    its = agree(record.position, "its")
    sentence = f"The {record.position.name} passed {its} {procedure_name} on {when}{on_paper}."
    return _state_reason(record, "proven", sentence, at)


def _overdue_reason(ledger: ReplayLedger, record: PositionRecord, clock: Clock) -> Reason:
    zone = ledger.evidence.zone
    word = "is due" if clock.state is State.DUE else "has lapsed"
    text = f"{clock.procedure.name} of the {record.position.name} {word} since {local_day(clock.at, zone)}"
    # A date that no pass stands behind is the fitting's: nothing is said to have passed that never did.
    fitted = f"{agree(record.position, 'it')} {agree(record.position, 'was')} fitted"
    last = f"never passed since {fitted}" if clock.by_fitting else "last passed"
    sentence = f"{text}; {last} {local_day(clock.proved, zone)}."
    return _state_reason(record, clock.state.value, sentence, clock.at)
