"""The call list as clock times for a chosen moment: who would be told when, without telling anybody."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from fleet.notices.call_list.lines import HOLD, HOLD_BUT_FIRING, INTERRUPTING, steps_for
from fleet.notices.call_list.recipients import CalledPerson, read_reachable, times_of_steps
from fleet.notices.calling import LAST_STEP_WAIT
from fleet.portfolio.models import Building


@dataclass(frozen=True, slots=True)
class ClockTime:
    """One moment of a call, in the building's time, and whom it reaches; nobody: the end of the list."""

    at: datetime
    clock: str
    people: Sequence[CalledPerson]
    sentence: str


def call_times(*, building: Building, condition: str, level: str, at: datetime) -> list[ClockTime]:
    """Return whom an alert raised at `at` in a building would reach, and when; by grants and absences of that moment.

    The last one says from when on nobody is left. A step that reaches nobody new brings the next one forward.
    """
    reachable = read_reachable(building.portfolio_id, at)
    steps = steps_for(reachable.lines_of(building.id), condition, level)
    times = [
        _clock_time(begins, at, people=people, condition=condition, zone=building.zone)
        for begins, people in times_of_steps(reachable.people_by_time(steps, building.id, at))
    ]
    last = times[-1].at + LAST_STEP_WAIT if times else at
    is_interrupting = condition in INTERRUPTING
    if is_interrupting or not times:
        sentence = "Nobody is left to tell: that is an alert of its own." if is_interrupting else "Nobody."
        times.append(ClockTime(last, _clock_text(last, building.zone), (), sentence))
    return times


def _clock_text(at: datetime, zone: str) -> str:
    return at.astimezone(ZoneInfo(zone)).strftime("%a %H:%M")


def _clock_time(
    begins: datetime, raised: datetime, people: Sequence[CalledPerson], condition: str, zone: str
) -> ClockTime:
    names = ", ".join(_name_person(person) for person in people)
    clock = _clock_text(begins, zone)
    act = " with the first act" if condition in (HOLD, HOLD_BUT_FIRING, "danger") else ""
    if condition not in INTERRUPTING:
        return ClockTime(begins, clock, people, f"{names}: in the digest, or singly by their own choice.")
    sentence = f"{names}: at once{act}." if begins == raised else f"If nobody answered: {names}."
    return ClockTime(begins, clock, people, sentence)


def _name_person(person: CalledPerson) -> str:
    stand_in = f" (in place of {person.stands_in_for})" if person.stands_in_for else ""
    return f"{person.user.display_name}{stand_in}"
