"""What is known of one position at each instant: section by section from its snapshots, and from time alone between."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from itertools import pairwise

from fleet.calendar import day_start
from fleet.rules import end_of_life
from fleet.rules.clocks import Clock, clocks, full_clocks, full_proofs, looser
from fleet.rules.ledger import Ledger, Record, Section, Snapshot
from fleet.rules.values import Law, Reason, State, StateSegment
from fleet.rules.wording import asked_for, on


def segments(
    ledger: Ledger, record: Record, snapshots: list[Snapshot], cut: list[Section] | None = None
) -> Iterator[StateSegment]:
    """Yield the position's states from the beginning of time to its end, without gaps.

    `cut` keeps what was made of each snapshot that another one followed, for who resumes the replay.
    """
    cut = [] if cut is None else cut
    for number, (here, after) in enumerate(pairwise([*snapshots, None])):
        assert here is not None
        said = tuple(c.sentence for c in (*here.down, *here.blocked))
        if after is None:
            yield from _section(ledger, record, here, None)
        elif number >= len(cut) or cut[number].said != said:
            cut[number : number + 1] = [Section(said, tuple(_section(ledger, record, here, after.at)))]
        if after is not None:
            yield from cut[number].segments


def _section(ledger: Ledger, record: Record, here: Snapshot, end: datetime | None) -> Iterator[StateSegment]:
    for since, until, law in ledger.evidence.laws_between(here.at, end):
        held = _within(ledger, record, here, since, until, law)
        over = end_of_life.over_at(here, ledger.evidence.zone) if here.end_of_life else None
        yield from held if over is None else end_of_life.cut(held, record, over)


def _within(
    ledger: Ledger, record: Record, here: Snapshot, since: datetime | None, until: datetime | None, law: Law
) -> Iterator[StateSegment]:
    stands = fixed(ledger, record, here, law)
    if stands is not None:
        new = stands[0] is State.NEVER_PROVEN
        due = _declared_due(ledger, here, law) if new else None
        yield StateSegment(
            record.position.id, since, until, *stands, _new_marks(here, law) if new else (), full_due=due
        )
        return
    full = full_clocks(ledger.evidence, here, law)
    steps = [c for c in clocks(ledger.evidence, here, law, full) if until is None or c.at < until]
    marks, due = _marks(here, law), next((c.at for c in full if c.state is State.DUE), None)
    starts: list[datetime | None] = [since, *(max(since, c.at) if since else c.at for c in steps)]
    ends = [*starts[1:], until]
    for clock, begin, end in zip((None, *steps), starts, ends, strict=True):
        if end is not None and begin is not None and begin >= end:
            continue
        state = clock.state if clock else State.PROVEN
        reason = _overdue(ledger, record, clock) if clock else _proven(ledger, record, here)
        remind = clock.remind_at if clock else None
        yield StateSegment(record.position.id, begin, end, state, reason, marks, remind, due)


def _marks(here: Snapshot, law: Law) -> tuple[str, ...]:
    return (*(["doubtful"] if here.doubted else []), *(["looser"] if looser(law, here) else []))


def _new_marks(here: Snapshot, law: Law) -> tuple[str, ...]:
    """Never proven; but something may have been declared, or passed and put in doubt."""
    declared = any(code not in dict(here.proofs) for code, _ in here.declared)
    return (*(["declared"] if declared else []), *_marks(here, law))


def _declared_due(ledger: Ledger, here: Snapshot, law: Law) -> datetime | None:
    """When it would be due by what was declared: a date to plan by, never a proof."""
    told = tuple((code, day_start(day, ledger.evidence.zone)) for code, day in here.declared)
    steps = full_clocks(ledger.evidence, replace(here, proofs=told), law)
    return next((c.at for c in steps if c.state is State.DUE), None)


def fixed(ledger: Ledger, record: Record, here: Snapshot, law: Law) -> tuple[State, Reason] | None:
    """States that time alone does not change: not fitted, failed, intermittent, never proven."""
    name = record.position.name
    if not here.kind:
        return State.NOT_FITTED, _reason(record, "not_fitted", f"No {name} is fitted.", here.at)
    if here.shares_chamber:
        sentence = f"The {name} sits in one chamber with the lower cutoff: two in one chamber count as one."
        return State.NOT_FITTED, _reason(record, "cutoffs_in_one_chamber", sentence, here.at)
    down = _down(ledger, record, here)
    if down is not None:
        return down
    if here.touches:
        touch = max(here.touches, key=lambda t: t.at)
        needs = asked_for(ledger.evidence, touch.needs)
        when = on(touch.at, ledger.evidence.zone)
        sentence = f"The {name} was {_TOUCHED.get(touch.code, 'worked on')} on {when} and needs {needs} since."
        return State.NEVER_PROVEN, _reason(record, "touched", sentence, touch.at)
    full = full_proofs(ledger.evidence, here, law)
    if full and not any(p.code in dict(here.proofs) for p in full):
        return State.NEVER_PROVEN, _reason(record, "never_proven", _never(ledger, record, here), here.fitted_at)
    return None


_TOUCHED = {
    "open": "opened",
    "adjust": "adjusted",
    "disconnect": "disconnected",
    "jumper": "jumpered",
    "fitted": "fitted",
    "path": "cut off by work on its pipe",
    "return_to_service": "put back in service",
    "lapsed_out_of_service": "put back in service with its proof lapsed",
}


def _never(ledger: Ledger, record: Record, here: Snapshot) -> str:
    if here.doubted:
        told = ledger.evidence.procedure(here.doubted.code).name.lower()
        passed = f"The {record.position.name} passed its {told} on {on(here.doubted.at, ledger.evidence.zone)}"
        return f"{passed}, but what it was read by was found wrong since: it counts as inconclusive."
    if here.declared:
        code, day = max(here.declared, key=lambda pair: pair[1])
        told = ledger.evidence.procedure(code).name.lower()
        name = record.position.name
        return f"The {name} is only declared proven ({told}, {day:%a %d %b %Y}): no visit stands behind it."
    return f"The {record.position.name} has never been proven since it was fitted."


def _down(ledger: Ledger, record: Record, here: Snapshot) -> tuple[State, Reason] | None:
    zone, name = ledger.evidence.zone, record.position.name
    if here.down:
        case = min(here.down, key=lambda c: c.opened_at)
        state = State.INTERMITTENT if here.intermittent else State.FAILED
        note = " It passed since with nothing done: it still counts as failed." if here.intermittent else ""
        sentence = f"{case.sentence} ({on(case.opened_at, zone)}){note}"
        return state, Reason(
            case.rule.code, sentence, record.role.hazard, record.position.id, case.entry, case.opened_at
        )
    if here.blocked:
        case = min(here.blocked, key=lambda c: c.opened_at)
        sentence = f"The {name} hangs on a failed path: {case.sentence} ({on(case.opened_at, zone)})"
        return State.FAILED, Reason(
            "path", sentence, record.role.hazard, record.position.id, case.entry, case.opened_at
        )
    if here.blind:
        blind = min(here.blind, key=lambda b: b.at)
        path = ledger.records[blind.path].position.name
        sentence = f"The {name} was blind behind the {path} since {on(blind.at, zone)} and has not acted since."
        return State.FAILED, _reason(record, "path", sentence, blind.at)
    return None


def _reason(record: Record, rule: str, sentence: str, since: datetime | None) -> Reason:
    return Reason(rule, sentence, record.role.hazard, record.position.id, None, since)


def _proven(ledger: Ledger, record: Record, here: Snapshot) -> Reason:
    if not here.proofs:
        return _reason(record, "nothing_asked", f"Nothing is asked of the {record.position.name}.", here.at)
    code, at = max(here.proofs, key=lambda pair: pair[1])
    told = ledger.evidence.procedure(code).name.lower()
    return _reason(
        record, "proven", f"The {record.position.name} passed its {told} on {on(at, ledger.evidence.zone)}.", at
    )


def _overdue(ledger: Ledger, record: Record, clock: Clock) -> Reason:
    zone = ledger.evidence.zone
    word = "is due" if clock.state is State.DUE else "has lapsed"
    told = f"{clock.procedure.name} of the {record.position.name} {word} since {on(clock.at, zone)}"
    # A date that no pass stands behind is the fitting's: nothing is said to have passed that never did.
    last = "never passed since it was fitted" if clock.by_fitting else "last passed"
    sentence = f"{told}; {last} {on(clock.proved, zone)}."
    return _reason(record, clock.state.value, sentence, clock.at)
