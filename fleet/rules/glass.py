"""Days of proof left: until when the full proofs of a boiler carry, if nobody does anything."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime

from fleet.rules.boundaries import Timeline
from fleet.rules.clocks import Clock, full_clocks, operator_clocks
from fleet.rules.ledger import Record, Snapshot
from fleet.rules.states import fixed
from fleet.rules.values import Glass, State


@dataclass(frozen=True, slots=True)
class Member:
    """A needed protection and the instant from which it stands no longer (None: time alone never takes it away)."""

    record: Record
    out: datetime | None
    due: Clock | None  # of the proof that carries it; None where it does not stand now


def glass(timeline: Timeline) -> Glass | None:
    """What a proof glass shows of a boiler; None before its survey, and where no proof ends by time alone."""
    if timeline.surveyed_at is None:
        return None
    members = list(_members(timeline))
    bare = [_first_bare(timeline, [m for m in members if m.record.role.hazard == h]) for h in _hazards(timeline)]
    first = min((m for m in bare if m is not None), key=_out, default=None)
    if first is None or first.out is None:
        return None
    weekly = min(_weekly(timeline, [m.record for m in members]), key=lambda c: c.at, default=None)
    return Glass(
        hazard=first.record.role.hazard,
        position=first.record.position.id,
        exposed_at=first.out,
        proved_at=first.due.proved if first.due else None,
        due_at=first.due.at if first.due else None,
        procedure=first.due.procedure.code if first.due else "",
        tick_proved_at=weekly.proved if weekly else None,
        tick_due_at=weekly.at if weekly else None,
    )


def _hazards(timeline: Timeline) -> list[str]:
    return [h.code for h in timeline.run.ledger.catalogue.hazards.values() if h.stops_firing]


def _out(member: Member) -> datetime:
    assert member.out is not None
    return member.out


def _members(timeline: Timeline) -> Iterator[Member]:
    for position, record in timeline.run.ledger.records.items():
        here = timeline.run.snapshots[position][-1]
        if record.role.part == "protection" and here.needed:
            yield _member(timeline, record, here)


def _member(timeline: Timeline, record: Record, here: Snapshot) -> Member:
    """By the terms now and by those adopted for later, each in their time."""
    for begin, end, law in timeline.evidence.laws_between(here.at, None):
        if fixed(timeline.run.ledger, record, here, law) is not None:
            return Member(record, begin or timeline.surveyed_at, None)
        full = {c.state: c for c in full_clocks(timeline.evidence, here, law)}
        lapsed = full.get(State.LAPSED)
        if lapsed and (end is None or lapsed.at < end):
            return Member(record, max(lapsed.at, begin or lapsed.at), full.get(State.DUE))
    return Member(record, None, None)


def _first_bare(timeline: Timeline, members: list[Member]) -> Member | None:
    """Whose end exposes the hazard: the last line's alone, or that of the protection that stands longest."""
    lines = [m for m in members if m.record.role.last_line and m.out and not _backed(timeline, m)]
    ends = [m for m in members if m.out is not None]
    last = [max(ends, key=_out)] if ends and len(ends) == len(members) else []
    return min([*lines, *last], key=_out, default=None)


def _backed(timeline: Timeline, member: Member) -> bool:
    newest = max(a.at for a in timeline.run.after.values())  # what is out since long may have been backed since
    seen = timeline.view(max(_out(member), newest)).seen
    return any(s.backed for s in seen if s.position == member.record.position.id)


def _weekly(timeline: Timeline, records: Iterable[Record]) -> Iterator[Clock]:
    """When what an operator proves is due again."""
    for record in records:
        here = timeline.run.snapshots[record.position.id][-1]
        found = operator_clocks(timeline.evidence, here, timeline.evidence.law_at(here.at))
        yield from (c for c in found if c.state is State.DUE)
