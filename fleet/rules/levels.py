"""The class of a deficiency as segments in time: constant, worsening by itself, or softened by a written policy."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING

from fleet.rules.ledger import Case, Ledger, Record
from fleet.rules.replay import AfterVisit
from fleet.rules.values import Level, LevelSegment, State, StateSegment

if TYPE_CHECKING:
    from fleet.rules.boundaries import Timeline

# A failed test or observation of the device itself, never a presumption: hold by default (domain, section 6).
BY_DEFAULT = frozenset(
    {
        "flush_keeps_firing",
        "flush_no_water",
        "flush_slow_recovery",
        "chamber_fouled",
        "lowering_no_trip",
        "lowering_too_low",
        "limit_failed",
        "limit_restarts",
        "siphon_plugged",
        "probe_bridged",
        "flame_failure_slow",
        "interlock_failed",
        "test_failed",
    }
)
MOST_HOURS = 24


@dataclass(frozen=True, slots=True)
class RunOn:
    """Until when, under the written policy, a boiler may run on its second protection, and who answers for it."""

    since: datetime
    until: datetime
    answerable: str


def level_segments(case: Case, timeline: "Timeline") -> tuple[LevelSegment, ...]:
    """Return the class of an episode from its opening to its closing, without gaps."""
    steps = [(case.opened_at, case.level), *case.later]
    soft = run_on(case, timeline)
    if soft is not None:
        steps += [(soft.since, Level.URGENT), (soft.until, case.level)]
    return tuple(_segments(sorted(steps, key=lambda s: s[0]), case.closed_at))


def _segments(steps: list[tuple[datetime, Level]], closed_at: datetime | None) -> Iterator[LevelSegment]:
    for (since, level), following in pairwise([*steps, None]):  # type: ignore[misc]
        until = following[0] if following else closed_at
        if closed_at is not None and (until is None or until > closed_at):
            until = closed_at
        if until is None or since < until:
            yield LevelSegment(since, until, level)


def run_on(case: Case, timeline: "Timeline") -> RunOn | None:
    """When the adopted policy lets the boiler run on its second protection; None where it does not apply."""
    run, terms = timeline.run, timeline.evidence.terms_at(case.opened_at)
    if not terms.run_on_by or case.position is None or case.presumed or case.rule.code not in BY_DEFAULT:
        return None
    visit = timeline.visit_of(case.entry) if case.entry else None
    if visit is None or _covers_too_much(run.ledger, case):
        return None
    after = run.after[visit.id]
    others = _seconds(timeline, case, after)
    if not others:
        return None
    watched = [s for r in others for s in timeline.states_of(r.position.id)]
    ends = [case.opened_at + timedelta(hours=MOST_HOURS), *_falls(run.ledger, watched, after.at)]
    ends += [t.since for t in timeline.evidence.terms if t.since and t.since > case.opened_at and not t.run_on_by]
    until = min(ends)
    return RunOn(after.at, until, terms.run_on_by) if after.at < until else None


def _down_by(ledger: Ledger, case: Case) -> list[Record]:
    """The protections this episode puts down: the device itself, or all that hangs on the path."""
    assert case.position is not None
    place = ledger.records[case.position]
    hanging = ledger.hanging_on(place) if place.role.part in ("input_path", "output_path") else [place]
    return [r for r in hanging if r.role.part == "protection"]


def _covers_too_much(ledger: Ledger, case: Case) -> bool:
    """The policy never covers a failed last line or output path."""
    assert case.position is not None
    output = ledger.records[case.position].role.part == "output_path"
    down = _down_by(ledger, case)
    return output or not down or any(r.role.last_line for r in down)


def _seconds(timeline: "Timeline", case: Case, after: AfterVisit) -> list[Record] | None:
    """For each hazard: another protection proven in full in this visit that shares no path, and the last line.

    None where one is missing. The output path must have been looked at in the same visit where the register has one.
    """
    found: list[Record] = []
    run, down = timeline.run, _down_by(timeline.run.ledger, case)
    for hazard in {r.role.hazard for r in down}:
        peers = [r for r in run.ledger.records.values() if r.role.hazard == hazard and r.role.part == "protection"]
        second = [r for r in peers if r not in down and _independent(run.ledger, r, down, after)]
        last = [r for r in peers if r.role.last_line and r.needed]
        if not second or not last:
            return None
        found += [max(second, key=lambda r: _stands_until(r, timeline, after.at)), *last]
    return found


def _stands_until(record: Record, timeline: "Timeline", at: datetime) -> datetime:
    """Of several second protections the one that stands longest is the one relied on."""
    falls = _falls(timeline.run.ledger, timeline.states_of(record.position.id), at)
    return min(falls, default=datetime.max.replace(tzinfo=at.tzinfo))


def _independent(ledger: Ledger, record: Record, down: list[Record], after: AfterVisit) -> bool:
    paths = {p.position.id: p for p in ledger.paths_of(record)}
    inputs = {i for i, p in paths.items() if p.role.part == "input_path"}
    shared = inputs & {p.position.id for d in down for p in ledger.paths_of(d)}
    # A valve hangs on no circuit: the one behind the protection that failed must have been seen to act all the same.
    carried = [*paths.values(), *(p for d in down for p in ledger.paths_of(d))]
    outputs = {p.position.id for p in carried if p.role.part == "output_path"}
    return record.position.id in after.proven and not shared and all(o in after.looked_at for o in outputs)


def _falls(ledger: Ledger, watched: list[StateSegment], at: datetime) -> Iterator[datetime]:
    """The instants from `at` on at which the second no longer stands, or the last line is no longer proven."""
    for segment in watched:
        last = ledger.records[segment.position].role.last_line
        good = segment.state is State.PROVEN or (not last and segment.state is State.DUE)
        if not good and (segment.until is None or segment.until > at):
            yield max(segment.since or at, at)
