"""One boiler's standing at one instant: the table of the domain's section 5, first match wins."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from uuid import UUID

from fleet.rules.catalogue import Hazard, Role
from fleet.rules.values import Level, Reason, Service, Standing, State

SAYS = {
    Standing.HOLD: "Not to be left firing; fire only to test, with a qualified person at the boiler the whole time.",
    Standing.EXPOSED: "Prove before relying on it.",
    Standing.IMPAIRED: "One protection down, another standing: repair by its date.",
    Standing.DUE: "Book the visit.",
    Standing.CLEAR: "Nothing asked for.",
    Standing.NOT_SURVEYED: "Book the first visit: nothing here is known to protect.",
    Standing.OFF: "Out of service. Going back needs a season start visit before unattended firing.",
}


@dataclass(frozen=True, slots=True)
class Seen:
    """One position at one instant."""

    position: UUID
    role: Role
    needed: bool
    state: State
    reason: Reason
    backed: bool = False  # a safety valve without which the sound others carry the whole output


@dataclass(frozen=True, slots=True)
class OpenCase:
    """One open deficiency at one instant."""

    level: Level
    reason: Reason


@dataclass(frozen=True)
class View:
    """Everything the standing depends on at one instant."""

    at: datetime | None
    service: Service
    surveyed: bool
    hazards: Sequence[Hazard]
    seen: Sequence[Seen]
    cases: Sequence[OpenCase]

    def needed_for(self, hazard: Hazard) -> list[Seen]:
        """The protections counted on against a hazard, first to act first."""
        return self._needed.get(hazard.code, [])

    @cached_property
    def _needed(self) -> dict[str, list[Seen]]:
        found: dict[str, list[Seen]] = {}
        for seen in sorted((s for s in self.seen if s.needed and s.role.part == "protection"), key=_acts_at):
            found.setdefault(seen.role.hazard, []).append(seen)
        return found


def _acts_at(seen: Seen) -> int:
    return seen.role.order


Decision = tuple[Standing, tuple[Reason, ...]]


def decide(view: View) -> Decision:
    """Return the standing and every reason of that rank, never without one."""
    if not view.service.runs:
        note = Reason("off", f"The boiler is {view.service.value.replace('_', ' ')}.")
        return Standing.OFF, (note, *(c.reason for c in sorted(view.cases, key=_worst_first)))
    for standing, gather in _TABLE:
        reasons = _distinct(gather(view))
        # Before the first survey nothing is proven and that is no news; holds and deficiencies show all the same.
        if reasons and (view.surveyed or standing in (Standing.HOLD, Standing.IMPAIRED)):
            return standing, reasons
    if not view.surveyed:
        note = Reason("not_surveyed", "No visit by a qualified technician has been judged yet.")
        return Standing.NOT_SURVEYED, (note, *_routine(view))
    return Standing.CLEAR, (Reason("clear", "Every protection that is needed is proven in time."), *_routine(view))


def _worst_first(case: OpenCase) -> int:
    return tuple(Level).index(case.level)


def _distinct(reasons: Iterable[Reason]) -> tuple[Reason, ...]:
    """Each sentence once; a deficiency and the state it causes say the same."""
    return tuple({r.sentence: r for r in reasons}.values())


def _hold(view: View) -> Iterable[Reason]:
    yield from (c.reason for c in view.cases if c.level is Level.HOLD)
    for seen in view.seen:
        last = seen.role.part == "protection" and seen.role.last_line and not seen.backed
        if seen.needed and seen.state.down and (last or seen.role.part == "output_path"):
            yield seen.reason
    for hazard in view.hazards:
        members = view.needed_for(hazard) if hazard.stops_firing else []
        if not any(m.state.stands for m in members):
            yield from (m.reason for m in members if m.state.down)


def _exposed(view: View) -> Iterable[Reason]:
    for hazard in view.hazards:
        members = view.needed_for(hazard) if hazard.stops_firing else []
        if members and not any(m.state.stands for m in members):
            yield from (m.reason for m in members)
        for member in members:
            if member.role.last_line and not member.backed and member.state in (State.LAPSED, State.NEVER_PROVEN):
                yield member.reason


def _impaired(view: View) -> Iterable[Reason]:
    for seen in view.seen:
        counted = seen.role.part == "protection" and seen.needed
        watched = seen.role.part == "initiator" and seen.state is not State.NOT_FITTED
        if seen.state.down and (counted or watched):
            yield seen.reason
    yield from (c.reason for c in view.cases if c.level is Level.URGENT)


def _due(view: View) -> Iterable[Reason]:
    for seen in view.seen:
        asked = seen.needed or (seen.role.part != "protection" and seen.state is not State.NOT_FITTED)
        if asked and not seen.state.down and seen.state is not State.PROVEN:
            yield seen.reason


def _routine(view: View) -> Iterable[Reason]:
    return (c.reason for c in view.cases if c.level is Level.ROUTINE)


_TABLE = (
    (Standing.HOLD, _hold),
    (Standing.EXPOSED, _exposed),
    (Standing.IMPAIRED, _impaired),
    (Standing.DUE, _due),
)
