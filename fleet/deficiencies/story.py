"""The life of one deficiency in order of time, including what time alone will bring."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from uuid import UUID

from fleet.deficiencies.models import Deficiency, DeficiencyAct
from fleet.deficiencies.queries import DeficiencyDetail

# The order of events of one instant.
FOUND_ORDER, CLASS_ORDER, FOUND_AGAIN_ORDER, DECIDED_ORDER, REPAIRED_ORDER, JOINED_ORDER, CLOSED_ORDER, GONE_ORDER = (
    range(8)
)
ACT_TITLES = {
    "assigned": "Assigned",
    "repair_reported": "Said to be repaired, not proven",
    "deferred": "Deferred",
    "explained": "Explained",
}


@dataclass(frozen=True, slots=True)
class LifeEvent:
    """One past or future event of a deficiency, with the entry or act it rests on."""

    at: datetime
    order: int
    title: str
    text: str = ""
    entry: UUID | None = None
    act: DeficiencyAct | None = None
    level: str = ""
    other: UUID | None = None


def life_events(detail: DeficiencyDetail, swallowed: Iterable[Deficiency], gone_at: datetime | None) -> list[LifeEvent]:
    """Return all events of a deficiency, the oldest first.

    `swallowed` were merged into it. `gone_at` is when it was recorded as withdrawn or merged.
    """
    events = [*_evidence_events(detail.row), *_class_events(detail.row), *_act_events(detail.acts)]
    events += [
        LifeEvent(r.opened_at, JOINED_ORDER, "Another episode became part of this", r.sentence, other=r.id)
        for r in swallowed
    ]
    if detail.row.withdrawn:
        events.append(_gone_event(detail.row, gone_at))
    return sorted(events, key=lambda e: (e.at, e.order))


def _evidence_events(row: Deficiency) -> Iterator[LifeEvent]:
    text = (
        row.sentence if row.opened_by_id else f"{row.sentence} This follows from what is on record, or from time alone."
    )
    first = row.levels[0]["level"] if row.levels else ""
    yield LifeEvent(row.opened_at, FOUND_ORDER, title="Found", text=text, entry=row.opened_by_id, level=first)
    if row.found_at and row.found_at > row.opened_at:
        yield LifeEvent(row.found_at, FOUND_AGAIN_ORDER, "Found again", "The earlier work did not fix it.")
    if row.repaired_at:
        yield LifeEvent(row.repaired_at, REPAIRED_ORDER, "Repaired, not proven", "Work was done on it during a visit.")
    if row.closed_at:
        yield LifeEvent(row.closed_at, CLOSED_ORDER, title="Closed", text="Proven right.", entry=row.closed_by_id)


def _class_events(row: Deficiency) -> Iterator[LifeEvent]:
    """Yield each change of class after the first class."""
    for before, segment in pairwise(row.levels):
        if segment["level"] != before["level"]:
            yield LifeEvent(datetime.fromisoformat(segment["since"]), CLASS_ORDER, "Class", level=segment["level"])


def _act_events(acts: Iterable[DeficiencyAct]) -> Iterator[LifeEvent]:
    for act in acts:
        yield LifeEvent(act.at, DECIDED_ORDER, ACT_TITLES[act.kind], act.reason, act=act)


def _gone_event(row: Deficiency, gone_at: datetime | None) -> LifeEvent:
    at = gone_at or row.opened_at
    if row.merged_into_id:
        return LifeEvent(
            at, GONE_ORDER, "Merged", "Late evidence made this part of another episode.", other=row.merged_into_id
        )
    return LifeEvent(at, GONE_ORDER, "Withdrawn", "A correction removed its cause, so it is no longer concluded.")
