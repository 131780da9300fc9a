"""Cases staged at chosen boilers, so that every standing, finding and age occurs whatever the luck."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from fleet.management.town.chance import Chance
from fleet.management.town.defects import DEFECTS, Defect
from fleet.management.town.incidents import INCIDENTS
from fleet.management.town.life import CLEANED_FIRST, Staged
from fleet.management.town.season import clock, day_of
from fleet.management.town.told import Boiler, Failure
from fleet.management.town.troubles import TROUBLES

DAY, HOUR = timedelta(days=1), timedelta(hours=1)
NEW = timedelta(days=34)  # age on record of a boiler that comes with a defect
KEPT_FOR_THE_PAST = 2  # boilers that get no open case, also in a small town

# States of some boilers today, by property manager.
STATES = (("laid_up", "unserved", "forgotten"), ("unseen", "isolated"))
# Codes of what is open today, and since how long; each at a boiler of its own. By property manager.
OPEN = (
    (("jumper", 5 * HOUR), ("burner_rich", 118 * DAY), ("siphon_plugged", 3 * DAY), ("feeder_passes", 23 * DAY),
     ("valve_weeps", 9 * DAY), ("sediment_building", 44 * DAY), ("tag_of_inspector", 2 * DAY)),
    (("glass_full", 26 * HOUR), ("control_drifted_up", 15 * DAY), ("alarm_mute", 36 * DAY),
     ("float_switch_stuck", 20 * HOUR), ("gauge_reads_low", 92 * DAY), ("limit_stuck", 6 * DAY),
     ("draft_poor", 75 * DAY), ("section_weeps", 11 * DAY)),
)  # fmt: skip

_NEEDS = {t.code: (t.place,) for t in TROUBLES} | {i.code: i.needs for i in INCIDENTS} | {CLEANED_FIRST: ("chamber",)}
_ONLY = {t.code: t.only for t in TROUBLES}
_CUTOFFS = frozenset({"upper", "lower", "chamber"})
AGAIN = {"feeder_passes": 60}  # days after which it happens again, so that there is a repeat


@dataclass(slots=True)
class Case:
    """What is staged at one boiler: its state today, defects of its register data, and events that must happen."""

    state: str = ""
    defects: tuple[Defect, ...] = ()
    staged: tuple[Staged, ...] = ()

    @property
    def new(self) -> bool:
        """Whether the boiler came on record only lately."""
        return any(d.new for d in self.defects)

    @property
    def quiet(self) -> bool:
        """Whether nothing fails by luck, so that the staged case stays visible."""
        return bool(self.state) or self.new or any(s.open for s in self.staged)

    def has(self, code: str) -> bool:
        """Return whether the boiler has the defect `code`."""
        return any(d.code == code for d in self.defects)

    def truth(self, boiler: Boiler, begin: datetime) -> list[Failure]:
        """Return the defects as failures, for the hidden truth."""
        return [Failure(boiler.key, "", d.code, begin, d.rules, "staged", begin) for d in self.defects]


class Cases:
    """Assigns the cases of one property manager to boilers, in a fixed order."""

    def __init__(self, chance: Chance, boilers: Sequence[Boiler], number: int, now: datetime, years: float) -> None:
        self.chance, self.number, self.now, self.years = chance, number, now, years
        self.cases = {b.key: Case() for b in boilers}
        self.boilers = {b.key: b for b in boilers}
        self.free = [b.key for b in boilers]
        mine = [d for nth, d in enumerate(DEFECTS.values()) if nth % 2 == number]
        self._states()
        self._defects([d for d in mine if d.new])
        self._open()
        self._defects([d for d in mine if not d.new])
        self._once()

    def of(self, key: str) -> Case:
        """Return the case of the boiler with this key."""
        return self.cases[key]

    def spoiled(self, boiler: Boiler) -> Boiler:
        """Return the boiler as the register has it, with its defects."""
        case, now, today = self.cases[boiler.key], self.boilers[boiler.key], day_of(self.now)
        if case.new:
            fitted = {ref: replace(p, fitted_on=today - NEW) for ref, p in now.places.items()}
            now = replace(now, since=today - NEW, places=fitted)
        for defect in case.defects:
            now = defect.spoil(now, today)
        return now

    def _take(self, *places: str) -> str | None:
        """Take and return the free boiler that has these places and the fewest others; None without one."""
        fits = [k for k in self.free if self._having(k, places)]
        key = min(fits, key=lambda k: len(self.boilers[k].places), default=None)
        if key:
            self.free.remove(key)
        return key

    def _having(self, key: str, places: Iterable[str]) -> bool:
        wanted = tuple(places)
        return len(self.boilers[key].having(*wanted)) == len(wanted)

    def _states(self) -> None:
        for state in STATES[self.number]:
            if key := self._take():
                self.cases[key].state = state

    def _defects(self, defects: Iterable[Defect]) -> None:
        """Assign each defect to a boiler. No place gets two; a defect of a new boiler gets a boiler of its own."""
        for defect in defects:
            if defect.new:
                key = self._take(*defect.needs)
            else:
                fits = [k for k in self.free if self._room(k, defect)]
                key = min(fits, key=lambda k: len(self.cases[k].defects), default=None)
            if key:
                self.cases[key].defects += (defect,)

    def _room(self, key: str, defect: Defect) -> bool:
        taken = {place for d in self.cases[key].defects for place in d.needs}
        return self._having(key, defect.needs) and not taken & set(defect.needs)

    def _open(self) -> None:
        for code, age in OPEN[self.number]:
            key = self._take(*_needed(code)) if len(self.free) > KEPT_FOR_THE_PAST else None
            if key:
                self.cases[key].staged = (Staged(self.now - age, code, open=True),)
                self.boilers[key] = replace(self.boilers[key], seasonal=False)

    def _once(self) -> None:
        """Stage every trouble and incident once, spread over the past. One boiler may get several."""
        codes = [t.code for t in TROUBLES] + [i.code for i in INCIDENTS] + [CLEANED_FIRST, CLEANED_FIRST]
        span = max(30, round(365 * self.years) - 120)
        for nth, code in enumerate(codes[self.number :: 2]):
            fits = [k for k in self.cases if self._fits(k, code)]
            key = min(fits, key=lambda k: (len(self.cases[k].staged), -len(self.boilers[k].places)), default=None)
            if key:
                age = span + 30 if code == CLEANED_FIRST else 30 + (nth * 37) % span
                day = _heating(day_of(self.now - timedelta(days=age)))
                at = clock(day, 9 + nth % 7, self.chance.whole(0, 59))
                self.cases[key].staged += (Staged(at, code, again=AGAIN.get(code, 0)),)

    def _fits(self, key: str, code: str) -> bool:
        case, needed = self.cases[key], _needed(code)
        if case.state or case.new or any(s.open for s in case.staged):
            return False
        if any(d.code in ("no_upper", "no_lower") for d in case.defects) and _CUTOFFS & set(needed):
            return False
        if case.has("never_popped") and "valve" in needed:
            return False
        right = _ONLY.get(code, "") in ("", self.boilers[key].places["upper"].kind)
        return right and self._having(key, needed)


def _needed(code: str) -> tuple[str, ...]:
    return ("chamber", *_NEEDS[code]) if _ONLY.get(code) else _NEEDS[code]


def _heating(day: date) -> date:
    """Return the day, or for a day from June to September one of the winter before: boilers are laid up then."""
    return day if not 5 < day.month < 10 else day.replace(month=day.month - 5, day=min(day.day, 28))
