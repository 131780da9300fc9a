"""Days of proof left: until when the full proofs of a boiler carry, if nobody does anything."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime

from fleet.rules.ledger.clocks import Clock, full_clocks, operator_clocks
from fleet.rules.ledger.records import PositionRecord, PositionSnapshot
from fleet.rules.timeline.boundaries import Timeline
from fleet.rules.timeline.states import timeless_state
from fleet.rules.values import GlassLevel, State


@dataclass(frozen=True, slots=True)
class ProtectionSpan:
    """A needed protection and the instant from which it stands no longer (None: time alone never takes it away)."""

    record: PositionRecord
    stands_until: datetime | None
    due_clock: Clock | None  # of the proof that carries it; None where it does not stand now


def proof_glass(timeline: Timeline) -> GlassLevel | None:
    """Return what the proof glass shows of a boiler. None before its survey, and where no proof ends by time alone."""
    if timeline.surveyed_at is None:
        return None
    members = list(_protection_spans(timeline))
    bare = [_first_bare(timeline, [m for m in members if m.record.role.hazard == h]) for h in _firing_hazards(timeline)]
    first = min((m for m in bare if m is not None), key=_end_of, default=None)
    if first is None or first.stands_until is None:
        return None
    weekly = min(_operator_due_clocks(timeline, [m.record for m in members]), key=lambda c: c.at, default=None)
    return GlassLevel(
        hazard=first.record.role.hazard,
        position=first.record.position.id,
        exposed_at=first.stands_until,
        proved_at=first.due_clock.proved if first.due_clock else None,
        due_at=first.due_clock.at if first.due_clock else None,
        procedure=first.due_clock.procedure.code if first.due_clock else "",
        tick_proved_at=weekly.proved if weekly else None,
        tick_due_at=weekly.at if weekly else None,
    )


def _firing_hazards(timeline: Timeline) -> list[str]:
    return [h.code for h in timeline.run.ledger.catalogue.hazards.values() if h.stops_firing]


def _end_of(member: ProtectionSpan) -> datetime:
    assert member.stands_until is not None
    return member.stands_until


def _protection_spans(timeline: Timeline) -> Iterator[ProtectionSpan]:
    for position, record in timeline.run.ledger.records.items():
        snapshot = timeline.run.snapshots[position][-1]
        if record.role.part == "protection" and snapshot.needed:
            yield _protection_span(timeline, record, snapshot)


def _protection_span(timeline: Timeline, record: PositionRecord, snapshot: PositionSnapshot) -> ProtectionSpan:
    """Return how long a protection stands, by the terms in force and by those adopted for later, each in their time."""
    for begin, end, law in timeline.evidence.laws_between(snapshot.at, None):
        if timeless_state(timeline.run.ledger, record, snapshot, law) is not None:
            return ProtectionSpan(record, begin or timeline.surveyed_at, None)
        full = {c.state: c for c in full_clocks(timeline.evidence, snapshot, law)}
        lapsed = full.get(State.LAPSED)
        if lapsed and (end is None or lapsed.at < end):
            return ProtectionSpan(record, max(lapsed.at, begin or lapsed.at), full.get(State.DUE))
    return ProtectionSpan(record, None, None)


def _first_bare(timeline: Timeline, members: list[ProtectionSpan]) -> ProtectionSpan | None:
    """Return the protection whose end exposes the hazard: a last line, or the one that stands longest."""
    lines = [m for m in members if m.record.role.last_line and m.stands_until and not _is_backed(timeline, m)]
    ends = [m for m in members if m.stands_until is not None]
    last = [max(ends, key=_end_of)] if ends and len(ends) == len(members) else []
    return min([*lines, *last], key=_end_of, default=None)


def _is_backed(timeline: Timeline, member: ProtectionSpan) -> bool:
    newest = max(a.at for a in timeline.run.after.values())  # what is out since long may have been backed since
    positions = timeline.view_at(max(_end_of(member), newest)).positions
    return any(s.backed for s in positions if s.position == member.record.position.id)


def _operator_due_clocks(timeline: Timeline, records: Iterable[PositionRecord]) -> Iterator[Clock]:
    """Yield when operator proofs are due again."""
    for record in records:
        snapshot = timeline.run.snapshots[record.position.id][-1]
        clocks = operator_clocks(timeline.evidence, snapshot, timeline.evidence.law_at(snapshot.at))
        yield from (c for c in clocks if c.state is State.DUE)
