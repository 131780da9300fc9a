"""A plain story as the evidence that the rules are given."""

from uuid import UUID, uuid5

from fleet.calendar import HeatingSeason
from fleet.rules.values import (
    AdoptedTerms,
    EntryFact,
    Evidence,
    FittingFact,
    PositionFact,
    RegisterPosted,
    SettingFact,
    VisitFact,
)
from tests.rules.build import LEFT_RIGHT, catalogue
from tests.rules.moments.story import START, Story, Visit

HERE = UUID("3c1f4d7a-8f52-4a6b-9d10-000000000001")
ZONE = "America/New_York"


def as_evidence(story: Story) -> Evidence:
    """Return the evidence of a story."""
    refs = {p.ref for p in story.places}
    paths = [(p.ref, p.path) for p in story.places if p.path in refs]
    settings = [SettingFact(None, key, value, START) for key, value in story.values.items()]
    settings += [SettingFact(_id(ref), "paths", (_id(path),), START) for ref, path in paths]
    settings += [SettingFact(_id(p.ref), "needed", False, START) for p in story.places if not p.needed]
    return Evidence(
        boiler=HERE,
        name="the boiler",
        zone=ZONE,
        catalogue=catalogue(),
        terms=(AdoptedTerms(None, HeatingSeason(10, 1, 5, 31)),),
        positions=tuple(PositionFact(_id(p.ref), p.ref, p.ref, role=p.role, since=p.fitted) for p in story.places),
        fittings=tuple(
            FittingFact(_id(p.ref), _id(f"device {p.ref}"), p.kind, p.fitted, p.stamped) for p in story.places if p.kind
        ),
        settings=tuple(settings),
        visits=tuple(_visit(story, v, n) for n, v in enumerate(story.visits)),
        register=RegisterPosted(START),
    )


def _id(name: str) -> UUID:
    return uuid5(HERE, name)


def _visit(story: Story, visit: Visit, number: int) -> VisitFact:
    kinds = {p.ref: p for p in story.places}
    entries = []
    for n, line in enumerate(visit.lines):
        place = kinds.get(line.ref)
        swapped = line.act == "replace" and place is not None
        entries.append(
            EntryFact(
                id=_id(f"{number}/{n}"),
                number=n,
                act=line.act,
                code=line.code,
                position=_id(line.ref) if place else None,
                at=visit.time_of(n),
                outcome=line.outcome,
                readings=line.readings,
                device=_id(f"device {line.ref} of {number}") if swapped else None,
                kind=place.kind if swapped and place else "",
                values=place.stamped if swapped and place else {},
            )
        )
    checks = LEFT_RIGHT if visit.checks else {}
    return VisitFact(
        _id(f"visit {number}"),
        visit.kind,
        visit.at,
        visit.at,
        tuple(entries),
        visit.who,
        left_as=visit.left_as,
        leaving_checks=checks,
    )
