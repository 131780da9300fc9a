"""One boiler's standing at one instant: the table of the domain's section 5, first match wins."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from uuid import UUID

from fleet.rules.catalogue import Hazard, RoleSpec
from fleet.rules.finding_codes import FindingCode
from fleet.rules.values import LEVELS, Level, Reason, ServiceMode, Standing, State

ACT_BY_STANDING = {
    Standing.HOLD: "Not to be left firing; fire only to test, with a qualified person at the boiler the whole time.",
    Standing.EXPOSED: "Prove before relying on it.",
    Standing.IMPAIRED: "One protection down, another standing: repair by its date.",
    Standing.DUE: "Book the visit.",
    Standing.CLEAR: "Nothing is due.",
    Standing.NOT_SURVEYED: "Book the first visit: nothing here is known to protect.",
    Standing.OFF: "Out of service. Going back needs a season start visit before unattended firing.",
}


@dataclass(frozen=True, slots=True)
class PositionState:
    """One position at one instant."""

    position: UUID
    role: RoleSpec
    needed: bool
    state: State
    reason: Reason
    backed: bool = False  # a safety valve without which the sound others carry the whole output


@dataclass(frozen=True, slots=True)
class OpenCase:
    """One open deficiency at one instant."""

    level: Level
    reason: Reason
    endangers: bool = False  # people, by gas or flue gas in the building
    is_presumed: bool = False  # nobody has seen this part fail: it should have acted before something that was seen


@dataclass(frozen=True, slots=True)
class OpenGaps:
    """What the register leaves out at one instant: the whole list in one reason, and what exposes the boiler."""

    reason: Reason
    exposing: tuple[Reason, ...] = ()


@dataclass(frozen=True)
class BoilerView:
    """Everything the standing depends on at one instant."""

    at: datetime | None
    service: ServiceMode
    surveyed: bool
    hazards: Sequence[Hazard]
    positions: Sequence[PositionState]
    cases: Sequence[OpenCase]
    gaps: OpenGaps | None = None
    told_whole: bool = False  # the whole register was posted, so that a hazard without protection is one

    def needed_for(self, hazard: Hazard) -> list[PositionState]:
        """Return the protections counted on against a hazard, the first to act first."""
        return self._needed.get(hazard.code, [])

    @cached_property
    def _needed(self) -> dict[str, list[PositionState]]:
        protections: dict[str, list[PositionState]] = {}
        for position in sorted((s for s in self.positions if s.needed and s.role.part == "protection"), key=_order_of):
            protections.setdefault(position.role.hazard, []).append(position)
        return protections


def _order_of(position: PositionState) -> int:
    return position.role.order


Decision = tuple[Standing, tuple[Reason, ...]]


def decide_standing(view: BoilerView) -> Decision:
    """Return the standing and every reason of that rank, never without one."""
    if not view.service.runs:
        note = Reason("off", f"The boiler is {view.service.value.replace('_', ' ')}.")
        return Standing.OFF, (note, *(c.reason for c in sorted(view.cases, key=_level_rank)))
    for standing, gather in _TABLE:
        reasons = _distinct_reasons(gather(view))
        reasons += tuple(_unguarded_reasons(view)) if reasons and view.surveyed else ()
        # Before the first survey nothing is proven and that is no news; holds and deficiencies show all the same.
        if reasons and (view.surveyed or standing in (Standing.HOLD, Standing.IMPAIRED)):
            return standing, reasons
    if not view.surveyed:
        note = Reason("not_surveyed", "No visit by a qualified technician has been judged yet.")
        return Standing.NOT_SURVEYED, (note, *_routine_reasons(view))
    return Standing.CLEAR, (Reason("clear", _clear_sentence(view)), *_unguarded_reasons(view), *_routine_reasons(view))


# Nothing ever counts as protection against it: that is so of every boiler and no news of this one.
NEVER_GUARDED = "overfilling"


def _unguarded(view: BoilerView) -> list[Hazard]:
    """Return the hazards against which this boiler has no protection, by a register told whole."""
    if not view.told_whole:
        return []
    return [h for h in view.hazards if h.code != NEVER_GUARDED and not view.needed_for(h)]


def _unguarded_reasons(view: BoilerView) -> Iterable[Reason]:
    hazards = _unguarded(view)
    if hazards:
        names = " and ".join(hazard.name.lower() for hazard in hazards)
        code = hazards[0].code if len(hazards) == 1 else ""
        yield Reason("not_guarded", f"No protection is on record here against {names}.", hazard=code)


def _clear_sentence(view: BoilerView) -> str:
    """Return what *clear* rests on, and no more: a cause, a test or a leaving check may be asked for beside it."""
    count = sum(p.needed and p.role.part == "protection" for p in view.positions)
    subject = {0: "No protection", 1: "One protection"}.get(count, f"{count} protections")
    names = " and ".join(hazard.name.lower() for hazard in _unguarded(view))
    but = f"; none guards against {names}" if names else ""
    return f"{subject} on record{' and proven' if count else ''}{but}."


def _level_rank(case: OpenCase) -> int:
    return LEVELS.index(case.level)


def _distinct_reasons(reasons: Iterable[Reason]) -> tuple[Reason, ...]:
    """Return each sentence once: a deficiency and the state it causes say the same."""
    return tuple({r.sentence: r for r in reasons}.values())


def _reasons_for_hold(view: BoilerView) -> Iterable[Reason]:
    # What endangers people is said before everything else, and what was seen before what follows from it.
    holds = sorted((c for c in view.cases if c.level is Level.HOLD), key=lambda c: (not c.endangers, c.is_presumed))
    yield from (c.reason for c in holds)
    for position in view.positions:
        last = position.role.part == "protection" and position.role.last_line and not position.backed
        if position.needed and position.state.down and (last or position.role.part == "output_path"):
            yield position.reason
    for hazard in view.hazards:
        members = view.needed_for(hazard) if hazard.stops_firing else []
        if not any(m.state.stands for m in members):
            yield from (m.reason for m in members if m.state.down)


def reasons_for_exposed(view: BoilerView) -> Iterable[Reason]:
    """Yield why a hazard that stops firing has nothing proven against it, whatever else holds."""
    for hazard in view.hazards:
        members = view.needed_for(hazard) if hazard.stops_firing else []
        if members and not any(m.state.stands for m in members):
            yield from (m.reason for m in members)
        for member in members:
            if member.role.last_line and not member.backed and member.state in (State.LAPSED, State.NEVER_PROVEN):
                yield member.reason
    if view.gaps:
        yield from view.gaps.exposing


def bare_hazards(view: BoilerView) -> tuple[str, ...]:
    """Return the hazards that stop firing and stand bare: nothing against them stands, or their last line does not."""
    exposing = {r.hazard for r in view.gaps.exposing} if view.gaps else set()
    return tuple(h.code for h in view.hazards if h.stops_firing and (h.code in exposing or _is_bare(view, h)))


def _is_bare(view: BoilerView, hazard: Hazard) -> bool:
    members = view.needed_for(hazard)
    last_lines = [m for m in members if m.role.last_line and not m.backed]
    return bool(members) and (not any(m.state.stands for m in members) or any(not m.state.stands for m in last_lines))


def _reasons_for_impaired(view: BoilerView) -> Iterable[Reason]:
    for position in view.positions:
        counted = position.role.part == "protection" and position.needed
        watched = position.role.part == "initiator" and position.state is not State.NOT_FITTED
        if position.state.down and (counted or watched):
            yield position.reason
    # What is known to be wrong comes before what nobody has looked at.
    urgent = [c.reason for c in view.cases if c.level is Level.URGENT]
    yield from sorted(urgent, key=lambda reason: reason.rule == FindingCode.NOT_ON_RECORD)


def reasons_for_due(view: BoilerView) -> Iterable[Reason]:
    """Yield what is due, lapsed or never proven, whatever else holds."""
    for position in view.positions:
        is_asked = position.needed or (position.role.part != "protection" and position.state is not State.NOT_FITTED)
        if is_asked and not position.state.down and position.state not in (State.PROVEN, State.NOT_ON_RECORD):
            yield position.reason
    if view.gaps:
        yield view.gaps.reason


def _routine_reasons(view: BoilerView) -> Iterable[Reason]:
    return (c.reason for c in view.cases if c.level is Level.ROUTINE)


_TABLE = (
    (Standing.HOLD, _reasons_for_hold),
    (Standing.EXPOSED, reasons_for_exposed),
    (Standing.IMPAIRED, _reasons_for_impaired),
    (Standing.DUE, reasons_for_due),
)
