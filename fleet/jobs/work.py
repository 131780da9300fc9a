"""The effort of a job in minutes, people, skills and parts: standard times and stated allowances."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID

from fleet.rules.catalogue import Catalogue, ProcedureSpec
from fleet.rules.values import LEVELS, worst_level

# Common practice: a visit's own minutes are for arriving, air, glass, tags, a talk and the leaving checks. A repair
# has an allowance, since no catalogue knows its length before the device is open.
VISIT_MINUTES = 30
REPAIR_MINUTES = 45
NEW_VALVE_GRADER = "new_valve"
DEFAULT_SKILL = "technician"  # the skill of work that names no procedure


@dataclass(frozen=True, slots=True)
class WorkItem:
    """One thing to be done: a deficiency to close, or a procedure at a position; `due` is since when it is asked."""

    boiler: UUID
    position: UUID | None
    deficiency: UUID | None
    procedure: str
    sentence: str
    level: str
    due: datetime | None = None

    @property
    def key(self) -> str:
        """The deficiency's id; of a procedure, the position's id and the procedure's code."""
        return str(self.deficiency) if self.deficiency else f"{self.position} {self.procedure}"


@dataclass(frozen=True, slots=True)
class Trip:
    """The work of one trip: one building, one skill."""

    skill: str
    items: Sequence[WorkItem]
    minutes: int
    people: int
    parts: Sequence[str] = field(default=())

    @property
    def level(self) -> str:
        """The worst class of its items."""
        return worst_level(i.level for i in self.items)


def group_trips(work_items: Iterable[WorkItem], release: Catalogue) -> list[Trip]:
    """Group work by skill into one trip each, the worst class first."""
    by_skill: dict[str, list[WorkItem]] = {}
    for item in work_items:
        by_skill.setdefault(skill_of(release.procedures.get(item.procedure)), []).append(item)
    trips = [plan_trip(skill, items, release) for skill, items in by_skill.items()]
    return sorted(trips, key=lambda t: (LEVELS.index(t.level), t.skill))


def plan_trip(skill: str, items: Sequence[WorkItem], release: Catalogue) -> Trip:
    """Return one trip with its minutes, people and parts. A procedure covered by another at its place is left out."""
    procedures_done = _procedures_to_do(items, release)
    repairs = sum(1 for i in items if i.deficiency)
    minutes = VISIT_MINUTES + REPAIR_MINUTES * repairs + sum(p.minutes for _, p in procedures_done)
    parts = sorted({part for _, p in procedures_done for part in p.parts})
    people = max((p.people for _, p in procedures_done), default=1)
    return Trip(skill, items, minutes=minutes, people=people, parts=parts)


def _procedures_to_do(items: Iterable[WorkItem], release: Catalogue) -> list[tuple[UUID | None, ProcedureSpec]]:
    requested = {(i.position, i.procedure) for i in items if i.procedure in release.procedures}
    pairs = [(place, release.procedures[code]) for place, code in sorted(requested, key=str)]
    covered = {
        (place, p.code)
        for place, p in pairs
        for other_place, by in pairs
        if other_place == place and p.code in by.covers
    }
    return [(place, p) for place, p in pairs if (place, p.code) not in covered]


def skill_of(procedure: ProcedureSpec | None) -> str:
    """Return the qualification for a procedure: the technician's where that is enough, else its first by name."""
    if procedure is None or not procedure.who or DEFAULT_SKILL in procedure.who:
        return DEFAULT_SKILL
    return min(procedure.who)


def _choice_rank(procedure: ProcedureSpec) -> int:
    """Return 0 for what a technician may do, 1 for what takes another person, 2 for a look that proves least."""
    return 2 if procedure.judged_by == NEW_VALVE_GRADER else int(skill_of(procedure) != DEFAULT_SKILL)


def quickest_code(codes: Iterable[str], release: Catalogue) -> str:
    """Return the code of the quickest procedure, preferring those a technician may do; "" for no procedures.

    Looking at a new valve proves none that was there before: it is asked for only where nothing else is named.
    """
    procedures = [release.procedures[c] for c in codes if c in release.procedures]
    best = min(procedures, key=lambda p: (_choice_rank(p), p.minutes, p.code), default=None)
    return best.code if best else ""
