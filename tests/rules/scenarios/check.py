"""Set what a moment expects beside what the rules answer."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID
from zoneinfo import ZoneInfo

from fleet.rules.answers.heat import building_conditions
from fleet.rules.values import (
    Condition,
    EntryVerdict,
    Evidence,
    JudgedDeficiency,
    Judgement,
    PositionStateSegment,
    State,
    deficiency_id,
    paper_id,
)
from tests.rules.scenarios.expected import NEVER, WHOLE, Expectation, Moment


@dataclass(frozen=True)
class Seen:
    """What the rules answer at a moment; `so_far` by what was done until then and nothing after."""

    moment: Moment
    evidence: Evidence
    judged: Judgement
    so_far: Judgement
    visits: dict[str, UUID]

    @property
    def at(self) -> datetime:
        """The moment."""
        return self.moment.at

    def id_of(self, ref: str) -> UUID:
        """The position of that symbolic name."""
        return next(p.id for p in self.evidence.positions if p.ref == ref)

    def ref_of(self, position: UUID | None) -> str:
        """The symbolic name of a position."""
        return self.evidence.positions_by_id[position].ref if position else WHOLE

    def local(self, at: datetime | None) -> str:
        """An instant as people at the boiler say it."""
        if at is None:
            return NEVER
        return f"{at.astimezone(ZoneInfo(self.evidence.zone)):%Y-%m-%d %H:%M:%S%z}".replace(":00-", "-").replace(
            ":00+", "+"
        )


@dataclass(frozen=True)
class Outcome:
    """One expectation beside what was got."""

    what: str
    line: int
    met: bool
    expected: str
    got: str


Answer = tuple[bool, str, str]


def check(seen: Seen) -> list[Outcome]:
    """Every expectation of the moment, in the order of the form."""
    found = []
    for expected in seen.moment.expected:
        met, wanted, got = _LOOK[expected.key](seen, expected)
        what = " ".join(w for w in (expected.key, expected.subject) if w)
        what += f" entry {expected.number}" if expected.number else ""
        found.append(Outcome(what, expected.line, met, wanted, got))
    return found


def _same(expected: Expectation, got: str) -> Answer:
    assert isinstance(expected.want, str)
    return got == expected.want, expected.want or "none", got or "none"


def _holds(since: datetime | None, until: datetime | None, at: datetime) -> bool:
    return (since is None or since <= at) and (until is None or at < until)


def _standing(seen: Seen, expected: Expectation) -> Answer:
    found = next(s for s in seen.judged.standings if _holds(s.since, s.until, seen.at))
    met, wanted, got = _same(expected, found.standing.value)
    why = " ".join(f"[{r.rule}] {r.sentence}" for r in found.reasons)
    return met, wanted, got if met else f"{got}: {why}"


def _reasons(seen: Seen, expected: Expectation) -> Answer:
    found = next(s for s in seen.judged.standings if _holds(s.since, s.until, seen.at))
    return _among(expected, ((r.rule, seen.ref_of(r.position)) for r in found.reasons))


def _among(expected: Expectation, found: Iterable[tuple[str, str]]) -> Answer:
    """Whether `code` or `code@position` is there."""
    told = list(found)
    code, _, place = str(expected.want).partition("@")
    place = place or (expected.subject if expected.key == "reasons" else "")
    met = any(c == code and place in ("", ref) for c, ref in told)
    return met, f"{code}@{place}" if place else code, ", ".join(f"{c}@{ref}" for c, ref in told) or "none"


def _segment(seen: Seen, ref: str) -> PositionStateSegment:
    position = seen.id_of(ref)
    return next(s for s in seen.judged.states if s.position == position and _holds(s.since, s.until, seen.at))


def _state(seen: Seen, expected: Expectation) -> Answer:
    found = _segment(seen, expected.subject)
    met, wanted, got = _same(expected, found.state.value)
    return met, wanted, got if met else f"{got}: {found.reason.sentence}"


def _marks(seen: Seen, expected: Expectation) -> Answer:
    return _same(expected, ", ".join(sorted(_segment(seen, expected.subject).marks)))


def _open(seen: Seen) -> list[tuple[str, str, str]]:
    """Rule, place and class of every deficiency open at the moment."""
    found = []
    for one in seen.judged.deficiencies:
        level = next((s.level.value for s in one.levels if _holds(s.since, s.until, seen.at)), "")
        if level and _holds(one.opened_at, one.closed_at, seen.at):
            found.append((one.rule, seen.ref_of(one.position), level))
    return sorted(found)


def _fits(wanted: tuple[str, ...], found: tuple[str, str, str]) -> bool:
    return wanted[:2] == found[:2] and wanted[2] in ("", found[2])


def _deficiencies(seen: Seen, expected: Expectation) -> Answer:
    found, wanted = _open(seen), sorted(w for w in expected.want if isinstance(w, tuple))
    met = all(any(_fits(w, f) for f in found) for w in wanted)
    if expected.key == "deficiencies":
        met = met and all(any(_fits(w, f) for w in wanted) for f in found)
    return met, _list(wanted), _list(found)


def _list(rows: Iterable[tuple[str, ...]]) -> str:
    return ", ".join(f"{rule}@{ref} {level}".rstrip() for rule, ref, level in rows) or "none"


def _readiness(seen: Seen, expected: Expectation) -> Answer:
    found = next((r for r in seen.judged.readiness if r.visit == seen.visits[expected.subject]), None)
    if found is None:
        return expected.want == "none", str(expected.want), "none: not in hand, or the visit does not stand"
    if expected.key == "missing":
        return _among(expected, ((m.what, seen.ref_of(m.position)) for m in found.missing))
    met, wanted, got = _same(expected, found.answer)
    return met, wanted, got if met else f"{got}: {' '.join(m.sentence for m in found.missing)}"


def _date(seen: Seen, expected: Expectation) -> Answer:
    """The first instant at or after the moment from which it is due or lapsed; where it is already, since when."""
    states = (State.LAPSED,) if expected.key == "lapses" else (State.DUE, State.LAPSED)
    position, at = seen.id_of(expected.subject), None
    for segment in (s for s in seen.so_far.states if s.position == position):
        if segment.state not in states:
            at = None
        elif at is None:
            at = segment.since
        if segment.state in states and (segment.until is None or segment.until > seen.at):
            break
    else:
        at = None
    return at == expected.at, seen.local(expected.at), seen.local(at)


def _held(seen: Seen) -> list[Condition]:
    """What holds then; the boiler of a scenario is the only one of its building."""
    of_building = building_conditions(seen.evidence.boiler, "the building", [seen.judged.heat])
    return [c for c in (*seen.judged.conditions, *of_building) if _holds(c.since, c.until, seen.at)]


def _conditions(seen: Seen, expected: Expectation) -> Answer:
    held = _held(seen)
    names = _subjects(seen)
    found = [(c.condition, names.get(c.subject, str(c.subject)), c.since) for c in held]
    met = any(
        c == expected.want and subject == expected.subject and expected.at in (None, since)
        for c, subject, since in found
    )
    wanted = f"{expected.want} since {seen.local(expected.at)}" if expected.at else str(expected.want)
    return met, wanted, "; ".join(f"{c} {subject} since {seen.local(since)}" for c, subject, since in found) or "none"


def _subjects(seen: Seen) -> dict[UUID, str]:
    """Symbolic names of everything a condition may be about."""
    names = {p.id: p.ref for p in seen.evidence.positions} | {seen.evidence.boiler: WHOLE}
    names |= {paper_id(seen.evidence.boiler, p.kind): WHOLE for p in seen.evidence.papers}
    return names | {_id(seen, d): f"{d.rule}@{seen.ref_of(d.position)}" for d in seen.judged.deficiencies}


def _id(seen: Seen, one: JudgedDeficiency) -> UUID:
    return deficiency_id(seen.evidence.boiler, one.position, one.rule, one.episode)


def _no_condition(seen: Seen, expected: Expectation) -> Answer:
    held = {c.condition for c in _held(seen)}
    return expected.want not in held, f"no {expected.want}", ", ".join(sorted(held)) or "none"


def _verdict(seen: Seen, expected: Expectation) -> Answer:
    visit = next((v for v in seen.evidence.visits if v.id == seen.visits[expected.subject]), None)
    entry = visit.entries[expected.number - 1].id if visit else None
    found = next((v for v in seen.judged.verdicts if v.entry == entry), None)
    if found is None:
        return False, str(expected.want), "no verdict"
    got = {"outcome": found.outcome, "grade": found.grade or "none", "proves": found.proves or "none"}[expected.key]
    return _told(_same(expected, got), found)


def _waits(seen: Seen, expected: Expectation) -> Answer:
    names = {id_: name for name, id_ in seen.visits.items()}
    judged = seen.judged
    waiting = {names[visit] for visit in (*judged.waiting, *(p.visit for p in judged.waiting_papers))}
    wanted = {row[0] for row in expected.want}
    return waiting == wanted, ", ".join(sorted(wanted)) or "none", ", ".join(sorted(waiting)) or "none"


def _told(answer: Answer, found: EntryVerdict) -> Answer:
    met, wanted, got = answer
    return met, wanted, got if met else f"{got}: {found.sentence}"


_LOOK: dict[str, Callable[[Seen, Expectation], Answer]] = {
    "standing": _standing,
    "reasons": _reasons,
    "states": _state,
    "marks": _marks,
    "deficiencies": _deficiencies,
    "at_least": _deficiencies,
    "readiness": _readiness,
    "missing": _readiness,
    "due": _date,
    "lapses": _date,
    "conditions": _conditions,
    "no_conditions": _no_condition,
    "outcome": _verdict,
    "grade": _verdict,
    "proves": _verdict,
    "waits": _waits,
}
