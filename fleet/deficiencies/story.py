"""The life of one deficiency in order of time, including what time alone will bring."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from uuid import UUID

from fleet.deficiencies.models import Act, Deficiency
from fleet.deficiencies.queries import Shown

# The order of events of one instant.
FOUND, CLASS, AGAIN, DECIDED, REPAIRED, JOINED, CLOSED, GONE = range(8)
SAID = {
    "assigned": "Assigned",
    "repair_reported": "Said to be repaired, not proven",
    "deferred": "Deferred",
    "explained": "Explained",
}


@dataclass(frozen=True, slots=True)
class Event:
    """One past or future event of a deficiency, with the entry or act it rests on."""

    at: datetime
    order: int
    title: str
    text: str = ""
    entry: UUID | None = None
    act: Act | None = None
    level: str = ""
    other: UUID | None = None


def told(one: Shown, swallowed: Iterable[Deficiency], gone_at: datetime | None) -> list[Event]:
    """Return all events of a deficiency, the oldest first.

    `swallowed` were merged into it. `gone_at` is when it was recorded as withdrawn or merged.
    """
    events = [*_evidence(one.row), *_classes(one.row), *_acts(one.acts)]
    events += [
        Event(r.opened_at, JOINED, "Another episode became part of this", r.sentence, other=r.id) for r in swallowed
    ]
    if one.row.withdrawn:
        events.append(_gone(one.row, gone_at))
    return sorted(events, key=lambda e: (e.at, e.order))


def _evidence(row: Deficiency) -> Iterator[Event]:
    text = (
        row.sentence if row.opened_by_id else f"{row.sentence} This follows from what is on record, or from time alone."
    )
    first = row.levels[0]["level"] if row.levels else ""
    yield Event(row.opened_at, FOUND, "Found", text, row.opened_by_id, level=first)
    if row.found_at and row.found_at > row.opened_at:
        yield Event(row.found_at, AGAIN, "Found again", "What was done before did not put it right.")
    if row.repaired_at:
        yield Event(row.repaired_at, REPAIRED, "Repaired, not proven", "Something was done about it on a visit.")
    if row.closed_at:
        yield Event(row.closed_at, CLOSED, "Closed", "Proven right.", row.closed_by_id)


def _classes(row: Deficiency) -> Iterator[Event]:
    """Yield each change of class after the first class."""
    for before, segment in pairwise(row.levels):
        if segment["level"] != before["level"]:
            yield Event(datetime.fromisoformat(segment["since"]), CLASS, "Class", level=segment["level"])


def _acts(acts: Iterable[Act]) -> Iterator[Event]:
    for act in acts:
        yield Event(act.at, DECIDED, SAID[act.kind], act.reason, act=act)


def _gone(row: Deficiency, gone_at: datetime | None) -> Event:
    at = gone_at or row.opened_at
    if row.merged_into_id:
        return Event(at, GONE, "Merged", "Late evidence made this part of another episode.", other=row.merged_into_id)
    return Event(at, GONE, "Withdrawn", "A correction took its cause away: it is concluded no more.")
