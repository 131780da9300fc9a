"""Work at one boiler: tests with the results that present failures cause, repairs, and the visits posted about it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from heapq import heappush
from itertools import count

from fleet.management.town import agenda, work
from fleet.management.town.agenda import Habits, Item
from fleet.management.town.chance import YEAR, Chance
from fleet.management.town.defects import Defect, mended
from fleet.management.town.leak import Leak
from fleet.management.town.season import daytime
from fleet.management.town.told import Boiler, Failure, Line, Place, Service, Told, Value
from fleet.management.town.troubles import BY_CODE, Trouble

PARTS_IN_THE_VAN = 0.75
FORGETS_TO_TELL = 0.05


@dataclass(frozen=True, slots=True)
class Crew:
    """The people who come to a boiler."""

    technicians: tuple[str, ...]
    caretaker: str
    inspector: str
    manager: str
    valve_shop: str


@dataclass(slots=True)
class Visiting:
    """A visit in progress."""

    lines: list[Line] = field(default_factory=list)
    found: list[Failure] = field(default_factory=list)
    minute: int = 0

    def add(self, *lines: Line) -> None:
        """Add lines in the order done. Their minutes never go back."""
        for line in lines:
            self.minute = max(self.minute, line.minute)
            self.lines.append(replace(line, minute=self.minute))


class Hands:
    """One boiler from `begin` to `end`: its hidden state, and the work of people on it."""

    def __init__(
        self, chance: Chance, boiler: Boiler, crew: Crew, habits: Habits, begin: datetime, end: datetime
    ) -> None:
        self.chance, self.boiler, self.crew, self.habits = chance, boiler, crew, habits
        self.begin, self.end = begin, end
        self.places: dict[str, Place] = dict(boiler.places)
        self.visits: list[Told] = []
        self.services: list[Service] = []
        self.truth: list[Failure] = []
        self.active: dict[str, list[Failure]] = {}
        self.waiting: list[Failure] = []  # found and not repaired
        self.leak = Leak(chance.of("leak"), begin)
        self.off = False  # left off because of something found
        self.laid_up = self.cleans_next = False
        self.kept_open: set[str] = set()
        self.defects: list[Defect] = []  # in the register until the first service
        self.paper = begin  # until then checks were written into a book
        self.pops = True  # whether the set pressure is ever proven here
        self.last_readings: datetime | None = None
        self._agenda: list[Item] = []
        self._numbers = count()

    def plan(self, at: datetime, what: str, about: object = None) -> None:
        """Put an item on the agenda. Items after the end are dropped."""
        if at < self.end:
            heappush(self._agenda, Item(at, next(self._numbers), what, about))

    def _draw(self, trouble: Trouble, since: datetime) -> None:
        place = self.places.get(trouble.place)
        if place is not None and place.kind and trouble.only in ("", place.kind):
            self.plan(since + self.chance.of(trouble.code, since).wait(trouble.rate), "fail", trouble)

    def _begin(self, trouble: Trouble, at: datetime, how: str = "hidden") -> Failure:
        failure = Failure(self.boiler.key, trouble.place, trouble.code, at, trouble.rules, how)
        self.truth.append(failure)
        self.active.setdefault(trouble.place, []).append(failure)
        return failure

    def _read_meter(self, visit: Visiting, at: datetime) -> None:
        self.last_readings = at
        reading, known = self.leak.read(at)
        visit.add(Line("test", "meter_reading", "meter", visit.minute + 3, "pass", {"reading": reading}))
        if known and not self.leak.mended:
            self.leak.mended = True
            self.plan(at + timedelta(days=self.chance.whole(3, 12)), "stop_leak")

    def _put_on_paper(self, visit: Visiting, defect: Defect) -> None:
        """Repair a defect of the register data during a visit."""
        visit.add(*defect.mended)
        self.boiler = mended(self.boiler, defect)
        self.places = dict(self.boiler.places)

    def _cold(self, visit: Visiting, at: datetime, *, lost: bool) -> None:
        """Open, clean and inspect. `lost`: cleaning came before the tests, so what it repairs is never found."""
        for place, code in work.asked(self.boiler, work.COLD):
            visit.add(Line("action", "open_clean", place, visit.minute + 10))
            if lost:
                self._lose(place, at)
            self._test(visit, place, code)

    def _lose(self, place: str, at: datetime) -> None:
        for failure in list(self.active.get(place, ())):
            trouble = BY_CODE[failure.trouble]
            if any(where == place and code in ("open_clean", "rod") for where, code in trouble.fix):
                if failure.how == "hidden":
                    failure.how = "lost"
                self._over(failure, at)

    def _test(self, visit: Visiting, place: str, code: str) -> None:
        """Add one test, with the result that present failures cause."""
        if not work.possible(self.boiler, place, code):
            return
        if code == "pop_test" and not self.pops:
            return
        here = self.places[place]
        readings: dict[str, Value] = work.GOOD[code](self.chance, here)
        outcome = "pass"
        for failure in [*self.active.get(place, ()), *self._chamber(place)]:
            trouble = BY_CODE[failure.trouble]
            if code not in trouble.shows and code not in trouble.claimed:
                continue
            readings |= trouble.shows.get(code, {})
            outcome = outcome if code in trouble.noted else "fail"
            visit.found.append(failure)
        if self._blind(place) and code not in ("siphon_check",):
            readings, outcome = {}, "not_done"
        visit.add(Line("test", code, place, visit.minute + 4, outcome, readings))

    def _chamber(self, place: str) -> list[Failure]:
        """Return failures of the chamber for the upper cutoff: the flush of the cutoff in it shows them."""
        return self.active.get("chamber", []) if place == "upper" else []

    def _blind(self, place: str) -> bool:
        return any(place in BY_CODE[f.trouble].blinds and f.found_at for f in self._all_active())

    def _all_active(self) -> Iterator[Failure]:
        for failures in self.active.values():
            yield from failures

    def _mended(self, visit: Visiting, at: datetime) -> None:
        """Repair and prove what was found, where the part is in the van."""
        for failure in dict.fromkeys(visit.found):
            trouble = BY_CODE[failure.trouble]
            if failure.trouble in self.kept_open or failure.repaired_at or not self.chance.happens(PARTS_IN_THE_VAN):
                continue
            self._put_right(visit, failure, trouble, at)

    def _put_right(self, visit: Visiting, failure: Failure, trouble: Trouble, at: datetime) -> None:
        if trouble.twice:
            self._test(visit, trouble.place, next(iter(trouble.shows)))
        for place, code in trouble.fix:
            if self.boiler.having(place):
                visit.add(Line("action", code, place, visit.minute + 15))
        self._root_cause(visit, failure)
        if failure.how == "hidden":
            failure.how = "found"
        self._over(failure, at)
        for place, code in trouble.proves:
            self._test(visit, place, code)

    def _root_cause(self, visit: Visiting, failure: Failure) -> None:
        """Note root cause and manager for a failure that returned within a year of its repair."""
        same = [f for f in self.truth if set(f.rules) & set(failure.rules) and f is not failure]
        if any(f.repaired_at and failure.failed_at - f.repaired_at < YEAR for f in same):
            named = {"manager": self.crew.manager}
            place = failure.place if self.boiler.having(failure.place) else ""
            visit.add(Line("observe", "cause_found", place, visit.minute + 5, readings=named))

    def _over(self, failure: Failure, at: datetime) -> None:
        failure.repaired_at = at
        self.active[failure.place].remove(failure)
        if failure in self.waiting:
            self.waiting.remove(failure)
        self._draw(BY_CODE[failure.trouble], at)

    def _end(self, visit: Visiting, at: datetime, kind: str, left: str = "on_call") -> None:
        """Post the visit with how the boiler is left, and plan a follow-up for what is left open."""
        who = self._who("caretaker" if kind == "routine_check" else "technician")
        key, found = f"{kind} {at.isoformat()}", list(dict.fromkeys(visit.found))
        for failure in found:
            failure.found_at = failure.found_at or at
            failure.visit = failure.visit or key
            failure.how = "found" if failure.how == "hidden" else failure.how
        if kind not in ("routine_check", "season_start", "annual_service"):
            self._mended(visit, at)
        left_open = [f for f in found if not f.repaired_at]
        self.waiting += [f for f in left_open if f not in self.waiting]
        self.off = any(BY_CODE[f.trouble].stops for f in self.waiting)
        self._post(visit, at, kind, who, "off_locked" if self.off else left, key=kind)
        if left_open and any(f.trouble not in self.kept_open for f in left_open):
            urgent = any(BY_CODE[f.trouble].stops for f in left_open)
            wait = self.chance.whole(5, 90) if urgent else self.chance.whole(48, 700)
            self.plan(daytime(at + timedelta(hours=wait)), "follow_up")

    def _who(self, role: str) -> tuple[str, ...]:
        if role == "caretaker":
            return (self.crew.caretaker,)
        if role == "inspector":
            return (self.crew.inspector,)
        return tuple(self.chance.shuffled(self.crew.technicians)[: 1 if self.chance.happens(0.6) else 2])

    def _called(self, visit: Visiting) -> set[str]:
        """Return the specialists that the work of the visit needs."""
        skills = {"valve_shop_test": self.crew.valve_shop, "internal_inspection": self.crew.inspector}
        return {skills[line.code] for line in visit.lines if line.code in skills}

    def _filled(self, lines: Sequence[Line]) -> Iterator[Line]:
        """Yield the lines possible at this boiler. Tests get a sound device's readings where they have none."""
        for line in lines:
            if line.place and not self.boiler.having(line.place):
                continue
            if line.act != "test":
                yield line
            elif work.possible(self.boiler, line.place, line.code):
                good = work.GOOD[line.code](self.chance, self.places[line.place])
                yield replace(line, readings={**good, **line.readings})

    def _post(
        self,
        visit: Visiting,
        at: datetime,
        kind: str,
        who: tuple[str, ...],
        left: str,
        arrival: str = "firing",
        *,
        key: str,
    ) -> None:
        checks: dict[str, object] = {}
        if kind not in ("routine_check", "inspector"):
            checks = {**work.LEFT_WELL, "told": [{"name": self.crew.manager, "how": "phone"}]}
            if self.chance.happens(FORGETS_TO_TELL):
                checks.pop(self.chance.one_of(sorted(checks)))
        routine = kind == "routine_check"
        who = (*who, *(name for name in self._called(visit) if name not in who))
        ended = at + timedelta(minutes=visit.minute)
        posted = ended + timedelta(minutes=self.chance.whole(5, 50))
        if routine and not visit.found:
            posted = agenda.posted(self.habits, self.chance, ended)
        told = Told(
            f"{key} {at.isoformat()}", self.boiler.key, kind, at, posted, who, tuple(visit.lines), arrival, left, checks
        )
        self.visits.append(told)
