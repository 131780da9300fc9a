"""What a job asks for, in minutes, people, skills and parts: standard times and stated allowances."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID

from fleet.rules.catalogue import Catalogue, Procedure
from fleet.rules.values import Level

# Common practice: arriving, air, glass, tags and a talk, then the leaving checks; and the repair itself, whose length
# no catalogue knows before the thing is open.
VISIT_MINUTES = 30
REPAIR_MINUTES = 45
ANYBODY = "technician"  # the skill of what names no procedure


@dataclass(frozen=True, slots=True)
class Wanted:
    """One thing to be done: a deficiency to be closed, or a procedure at a position; `due` is when it is asked by."""

    boiler: UUID
    position: UUID | None
    deficiency: UUID | None
    procedure: str
    sentence: str
    level: str
    due: datetime | None = None


@dataclass(frozen=True, slots=True)
class Trip:
    """What one trip does: same building, same skill."""

    skill: str
    items: Sequence[Wanted]
    minutes: int
    people: int
    parts: Sequence[str] = field(default=())

    @property
    def level(self) -> str:
        """The worst class of what it does."""
        return worst(i.level for i in self.items)


def worst(levels: Iterable[str]) -> str:
    """The worst of some classes."""
    had = set(levels)
    return next(level.value for level in Level if level.value in had)


def trips(wanted: Iterable[Wanted], release: Catalogue) -> list[Trip]:
    """Group what shares a skill into one trip each, the worst class first."""
    by_skill: dict[str, list[Wanted]] = {}
    for item in wanted:
        by_skill.setdefault(skill_of(release.procedures.get(item.procedure)), []).append(item)
    made = [trip(skill, items, release) for skill, items in by_skill.items()]
    return sorted(made, key=lambda t: (tuple(Level).index(Level(t.level)), t.skill))


def trip(skill: str, items: Sequence[Wanted], release: Catalogue) -> Trip:
    """One trip with its length, people and parts; what another procedure at the same place covers is not done twice."""
    done = _done(items, release)
    repairs = sum(1 for i in items if i.deficiency)
    minutes = VISIT_MINUTES + REPAIR_MINUTES * repairs + sum(p.minutes for _, p in done)
    parts = sorted({part for _, p in done for part in p.parts})
    people = max((p.people for _, p in done), default=1)
    return Trip(skill, items, minutes, people, parts)


def _done(items: Iterable[Wanted], release: Catalogue) -> list[tuple[UUID | None, Procedure]]:
    asked = {(i.position, i.procedure) for i in items if i.procedure in release.procedures}
    pairs = [(place, release.procedures[code]) for place, code in sorted(asked, key=str)]
    covered = {(place, p.code) for place, p in pairs for other, by in pairs if other == place and p.code in by.covers}
    return [(place, p) for place, p in pairs if (place, p.code) not in covered]


def skill_of(procedure: Procedure | None) -> str:
    """The qualification a procedure goes with: a technician's where that will do, else the first that it names."""
    if procedure is None or not procedure.who or ANYBODY in procedure.who:
        return ANYBODY
    return min(procedure.who)


def quickest(codes: Iterable[str], release: Catalogue) -> str:
    """Of procedures that will do alike the quickest, by its code; "" of none. What a technician may do goes first."""
    known = [release.procedures[c] for c in codes if c in release.procedures]
    best = min(known, key=lambda p: (skill_of(p) != ANYBODY, p.minutes, p.code), default=None)
    return best.code if best else ""
