"""Work at one boiler: tests with the results that present failures cause, repairs, and the visits posted about it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from heapq import heappush
from itertools import count

from fleet.management.town import agenda, work
from fleet.management.town.agenda import AgendaItem, CaretakerHabits
from fleet.management.town.chance import YEAR, Chance
from fleet.management.town.defects import Defect, mend_boiler
from fleet.management.town.hidden_trouble import HiddenTrouble
from fleet.management.town.leak import Leak
from fleet.management.town.season import next_daytime
from fleet.management.town.story_values import (
    Failure,
    TownBoiler,
    TownLine,
    TownPlace,
    TownServiceState,
    TownVisit,
    Value,
)
from fleet.management.town.troubles import TROUBLES_BY_CODE

PARTS_IN_THE_VAN = 0.75
FORGETS_TO_TELL = 0.05


@dataclass(frozen=True, slots=True)
class BoilerCrew:
    """The people who come to a boiler."""

    technicians: tuple[str, ...]
    caretaker: str
    inspector: str
    manager: str
    valve_shop: str


@dataclass(slots=True)
class VisitDraft:
    """A visit in progress."""

    lines: list[TownLine] = field(default_factory=list)
    found_failures: list[Failure] = field(default_factory=list)
    minute: int = 0

    def add_lines(self, *lines: TownLine) -> None:
        """Add lines in the order done. Their minutes never go back."""
        for line in lines:
            self.minute = max(self.minute, line.minute)
            self.lines.append(replace(line, minute=self.minute))


class BoilerWork:
    """One boiler from `begin` to `end`: its hidden state, and the work of people on it."""

    def __init__(
        self,
        chance: Chance,
        boiler: TownBoiler,
        crew: BoilerCrew,
        habits: CaretakerHabits,
        begin: datetime,
        end: datetime,
    ) -> None:
        self.chance, self.boiler, self.crew, self.habits = chance, boiler, crew, habits
        self.begin, self.end = begin, end
        self.places: dict[str, TownPlace] = dict(boiler.places)
        self.visits: list[TownVisit] = []
        self.services: list[TownServiceState] = []
        self.truth: list[Failure] = []
        self.active: dict[str, list[Failure]] = {}
        self.waiting: list[Failure] = []  # found and not repaired
        self.leak = Leak(chance.branch("leak"), begin)
        self.off = False  # left off because of something found
        self.laid_up = self.cleans_next = False
        self.kept_open: set[str] = set()
        self.defects: list[Defect] = []  # in the register until the first service
        self.paper = begin  # until then checks were written into a book
        self.pops = True  # whether the set pressure is ever proven here
        self.last_readings: datetime | None = None
        self._agenda: list[AgendaItem] = []
        self._numbers = count()

    def plan_item(self, at: datetime, what: str, about: object = None) -> None:
        """Put an item on the agenda. Items after the end are dropped."""
        if at < self.end:
            heappush(self._agenda, AgendaItem(at, next(self._numbers), what, about))

    def _draw_failure(self, trouble: HiddenTrouble, since: datetime) -> None:
        place = self.places.get(trouble.place)
        if place is not None and place.kind and trouble.only in ("", place.kind):
            self.plan_item(since + self.chance.branch(trouble.code, since).waiting_time(trouble.rate), "fail", trouble)

    def _begin_failure(self, trouble: HiddenTrouble, at: datetime, how: str = "hidden") -> Failure:
        failure = Failure(
            self.boiler.key, trouble.place, trouble=trouble.code, failed_at=at, rules=trouble.rules, how=how
        )
        self.truth.append(failure)
        self.active.setdefault(trouble.place, []).append(failure)
        return failure

    def _read_meter(self, visit: VisitDraft, at: datetime) -> None:
        self.last_readings = at
        reading, is_leak_known = self.leak.read_meter(at)
        visit.add_lines(
            TownLine(
                "test",
                "meter_reading",
                place="meter",
                minute=visit.minute + 3,
                outcome="pass",
                readings={"reading": reading},
            )
        )
        if is_leak_known and not self.leak.is_mended:
            self.leak.is_mended = True
            self.plan_item(at + timedelta(days=self.chance.whole_number(3, 12)), "stop_leak")

    def _mend_on_paper(self, visit: VisitDraft, defect: Defect) -> None:
        """Repair a defect of the register data during a visit."""
        visit.add_lines(*defect.repair_lines)
        self.boiler = mend_boiler(self.boiler, defect)
        self.places = dict(self.boiler.places)

    def _do_cold_work(self, visit: VisitDraft, at: datetime, *, lost: bool) -> None:
        """Open, clean and inspect. `lost`: cleaning came before the tests, so what it repairs is never found."""
        for place, code in work.possible_rows(self.boiler, work.COLD_WORK):
            visit.add_lines(TownLine("action", "open_clean", place, visit.minute + 10))
            if lost:
                self._lose_failures(place, at)
            self._run_test(visit, place, code)

    def _lose_failures(self, place: str, at: datetime) -> None:
        for failure in list(self.active.get(place, ())):
            trouble = TROUBLES_BY_CODE[failure.trouble]
            if any(where == place and code in ("open_clean", "rod") for where, code in trouble.repair_actions):
                if failure.how == "hidden":
                    failure.how = "lost"
                self._end_failure(failure, at)

    def _run_test(self, visit: VisitDraft, place: str, code: str) -> None:
        """Add one test, with the result that present failures cause."""
        if not work.is_possible(self.boiler, place, code):
            return
        if code == "pop_test" and not self.pops:
            return
        tested_place = self.places[place]
        readings: dict[str, Value] = work.SOUND_READINGS[code](self.chance, tested_place)
        outcome = "pass"
        for failure in [*self.active.get(place, ()), *self._chamber_failures(place)]:
            trouble = TROUBLES_BY_CODE[failure.trouble]
            if code not in trouble.shows and code not in trouble.failing_procedures:
                continue
            readings |= trouble.shows.get(code, {})
            outcome = outcome if code in trouble.passing_procedures else "fail"
            visit.found_failures.append(failure)
        if self._is_blinded(place) and code not in ("siphon_check",):
            readings, outcome = {}, "not_done"
        visit.add_lines(
            TownLine("test", code, place=place, minute=visit.minute + 4, outcome=outcome, readings=readings)
        )

    def _chamber_failures(self, place: str) -> list[Failure]:
        """Return failures of the chamber for the upper cutoff: the flush of the cutoff in it shows them."""
        return self.active.get("chamber", []) if place == "upper" else []

    def _is_blinded(self, place: str) -> bool:
        return any(place in TROUBLES_BY_CODE[f.trouble].blinds and f.found_at for f in self._all_active())

    def _all_active(self) -> Iterator[Failure]:
        for failures in self.active.values():
            yield from failures

    def _mend_found(self, visit: VisitDraft, at: datetime) -> None:
        """Repair and prove what was found, where the part is in the van."""
        for failure in dict.fromkeys(visit.found_failures):
            trouble = TROUBLES_BY_CODE[failure.trouble]
            if failure.trouble in self.kept_open or failure.repaired_at or not self.chance.happens(PARTS_IN_THE_VAN):
                continue
            self._put_right(visit, failure, trouble, at)

    def _put_right(self, visit: VisitDraft, failure: Failure, trouble: HiddenTrouble, at: datetime) -> None:
        if trouble.needs_second_repair:
            self._run_test(visit, trouble.place, next(iter(trouble.shows)))
        for place, code in trouble.repair_actions:
            if self.boiler.filled_refs(place):
                visit.add_lines(TownLine("action", code, place, visit.minute + 15))
        self._note_root_cause(visit, failure)
        if failure.how == "hidden":
            failure.how = "found"
        self._end_failure(failure, at)
        for place, code in trouble.proves:
            self._run_test(visit, place, code)

    def _note_root_cause(self, visit: VisitDraft, failure: Failure) -> None:
        """Note root cause and manager for a failure that returned within a year of its repair."""
        earlier_failures = [f for f in self.truth if set(f.rules) & set(failure.rules) and f is not failure]
        if any(f.repaired_at and failure.failed_at - f.repaired_at < YEAR for f in earlier_failures):
            manager_reading = {"manager": self.crew.manager}
            place = failure.place if self.boiler.filled_refs(failure.place) else ""
            visit.add_lines(TownLine("observe", "cause_found", place, visit.minute + 5, readings=manager_reading))

    def _end_failure(self, failure: Failure, at: datetime) -> None:
        failure.repaired_at = at
        self.active[failure.place].remove(failure)
        if failure in self.waiting:
            self.waiting.remove(failure)
        self._draw_failure(TROUBLES_BY_CODE[failure.trouble], at)

    def _end_visit(self, visit: VisitDraft, at: datetime, kind: str, left_as: str = "on_call") -> None:
        """Post the visit with how the boiler is left, and plan a follow-up for what is left open."""
        visitors = self._people_for("caretaker" if kind == "routine_check" else "technician")
        key, found_failures = f"{kind} {at.isoformat()}", list(dict.fromkeys(visit.found_failures))
        for failure in found_failures:
            failure.found_at = failure.found_at or at
            failure.visit = failure.visit or key
            failure.how = "found" if failure.how == "hidden" else failure.how
        if kind not in ("routine_check", "season_start", "annual_service"):
            self._mend_found(visit, at)
        left_open = [f for f in found_failures if not f.repaired_at]
        self.waiting += [f for f in left_open if f not in self.waiting]
        self.off = any(TROUBLES_BY_CODE[f.trouble].stops for f in self.waiting)
        self._post_visit(
            visit, at, kind=kind, visitors=visitors, left_as="off_locked" if self.off else left_as, key=kind
        )
        if left_open and any(f.trouble not in self.kept_open for f in left_open):
            urgent = any(TROUBLES_BY_CODE[f.trouble].stops for f in left_open)
            wait = self.chance.whole_number(5, 90) if urgent else self.chance.whole_number(48, 700)
            self.plan_item(next_daytime(at + timedelta(hours=wait)), "follow_up")

    def _people_for(self, role: str) -> tuple[str, ...]:
        if role == "caretaker":
            return (self.crew.caretaker,)
        if role == "inspector":
            return (self.crew.inspector,)
        return tuple(self.chance.shuffle(self.crew.technicians)[: 1 if self.chance.happens(0.6) else 2])

    def _specialists_for(self, visit: VisitDraft) -> set[str]:
        """Return the specialists that the work of the visit needs."""
        skills = {"valve_shop_test": self.crew.valve_shop, "internal_inspection": self.crew.inspector}
        return {skills[line.code] for line in visit.lines if line.code in skills}

    def _fill_lines(self, lines: Sequence[TownLine]) -> Iterator[TownLine]:
        """Yield the lines possible at this boiler. Tests get a sound device's readings where they have none."""
        for line in lines:
            if line.place and not self.boiler.filled_refs(line.place):
                continue
            if line.act != "test":
                yield line
            elif work.is_possible(self.boiler, line.place, line.code):
                sound_readings = work.SOUND_READINGS[line.code](self.chance, self.places[line.place])
                yield replace(line, readings={**sound_readings, **line.readings})

    def _post_visit(
        self,
        visit: VisitDraft,
        at: datetime,
        kind: str,
        visitors: tuple[str, ...],
        left_as: str,
        arrival: str = "firing",
        *,
        key: str,
    ) -> None:
        checks: dict[str, object] = {}
        if kind not in ("routine_check", "inspector"):
            checks = {**work.LEFT_WELL, "told": [{"name": self.crew.manager, "how": "phone"}]}
            if self.chance.happens(FORGETS_TO_TELL):
                checks.pop(self.chance.one_of(sorted(checks)))
        is_routine = kind == "routine_check"
        visitors = (*visitors, *(name for name in self._specialists_for(visit) if name not in visitors))
        ended = at + timedelta(minutes=visit.minute)
        posted_at = ended + timedelta(minutes=self.chance.whole_number(5, 50))
        if is_routine and not visit.found_failures:
            posted_at = agenda.posting_time(self.habits, self.chance, ended)
        posted_visit = TownVisit(
            f"{key} {at.isoformat()}",
            self.boiler.key,
            kind=kind,
            at=at,
            posted_at=posted_at,
            people=visitors,
            lines=tuple(visit.lines),
            state_on_arrival=arrival,
            left_as=left_as,
            checks=checks,
        )
        self.visits.append(posted_visit)
