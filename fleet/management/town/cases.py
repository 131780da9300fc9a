"""Cases staged at chosen boilers, so that every standing, finding and age occurs whatever the luck."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from fleet.management.town.chance import Chance
from fleet.management.town.defects import DEFECTS, Defect
from fleet.management.town.incidents import INCIDENTS
from fleet.management.town.life import CLEANED_FIRST, StagedEvent
from fleet.management.town.season import day_of, local_time
from fleet.management.town.story_values import Failure, TownBoiler
from fleet.management.town.troubles import TROUBLES

DAY, HOUR = timedelta(days=1), timedelta(hours=1)
NEW_BOILER_AGE = timedelta(days=34)  # age on record of a boiler that comes with a defect
BOILERS_WITHOUT_OPEN_CASE = 2  # boilers that get no open case, also in a small town

# States of some boilers today, by property manager.
STATES = (("laid_up", "unserved", "forgotten"), ("unseen", "isolated"))
# Codes of what is open today, and since how long; each at a boiler of its own. By property manager.
OPEN_CASES = (
    (("jumper", 5 * HOUR), ("burner_rich", 118 * DAY), ("siphon_plugged", 3 * DAY), ("feeder_passes", 23 * DAY),
     ("valve_weeps", 9 * DAY), ("sediment_building", 44 * DAY), ("tag_of_inspector", 2 * DAY)),
    (("glass_full", 26 * HOUR), ("control_drifted_up", 15 * DAY), ("alarm_mute", 36 * DAY),
     ("float_switch_stuck", 20 * HOUR), ("gauge_reads_low", 92 * DAY), ("limit_stuck", 6 * DAY),
     ("draft_poor", 75 * DAY), ("section_weeps", 11 * DAY)),
)  # fmt: skip

_NEEDS = {t.code: (t.place,) for t in TROUBLES} | {i.code: i.needs for i in INCIDENTS} | {CLEANED_FIRST: ("chamber",)}
_ONLY = {t.code: t.only for t in TROUBLES}
_CUTOFFS = frozenset({"upper", "lower", "chamber"})
REPEAT_DAYS = {"feeder_passes": 60}  # days after which it happens again, so that there is a repeat


@dataclass(slots=True)
class StagedCase:
    """What is staged at one boiler: its state today, defects of its register data, and events that must happen."""

    state: str = ""
    defects: tuple[Defect, ...] = ()
    staged: tuple[StagedEvent, ...] = ()

    @property
    def is_new(self) -> bool:
        """Whether the boiler came on record only lately."""
        return any(d.new for d in self.defects)

    @property
    def is_quiet(self) -> bool:
        """Whether nothing fails by luck, so that the staged case stays visible."""
        return bool(self.state) or self.is_new or any(s.open for s in self.staged)

    def has_defect(self, code: str) -> bool:
        """Return whether the boiler has the defect `code`."""
        return any(d.code == code for d in self.defects)

    def paper_failures(self, boiler: TownBoiler, begin: datetime) -> list[Failure]:
        """Return the defects as failures, for the hidden truth."""
        return [
            Failure(boiler.key, "", trouble=d.code, failed_at=begin, rules=d.rules, how="staged", found_at=begin)
            for d in self.defects
        ]


class StagedCases:
    """Assigns the cases of one property manager to boilers, in a fixed order."""

    def __init__(self, chance: Chance, boilers: Sequence[TownBoiler], number: int, now: datetime, years: float) -> None:
        self.chance, self.number, self.now, self.years = chance, number, now, years
        self.cases = {b.key: StagedCase() for b in boilers}
        self.boilers = {b.key: b for b in boilers}
        self.free = [b.key for b in boilers]
        own_defects = [d for nth, d in enumerate(DEFECTS.values()) if nth % 2 == number]
        self._assign_states()
        self._assign_defects([d for d in own_defects if d.new])
        self._stage_open_cases()
        self._assign_defects([d for d in own_defects if not d.new])
        self._stage_everything_once()

    def case_of(self, key: str) -> StagedCase:
        """Return the case of the boiler with this key."""
        return self.cases[key]

    def spoil_boiler(self, boiler: TownBoiler) -> TownBoiler:
        """Return the boiler as the register has it, with its defects."""
        case, spoiled_boiler, today = self.cases[boiler.key], self.boilers[boiler.key], day_of(self.now)
        if case.is_new:
            fitted = {ref: replace(p, fitted_on=today - NEW_BOILER_AGE) for ref, p in spoiled_boiler.places.items()}
            spoiled_boiler = replace(spoiled_boiler, since=today - NEW_BOILER_AGE, places=fitted)
        for defect in case.defects:
            spoiled_boiler = defect.spoil(spoiled_boiler, today)
        return spoiled_boiler

    def _take_boiler(self, *places: str) -> str | None:
        """Take and return the free boiler that has these places and the fewest others; None without one."""
        fits = [k for k in self.free if self._has_places(k, places)]
        key = min(fits, key=lambda k: len(self.boilers[k].places), default=None)
        if key:
            self.free.remove(key)
        return key

    def _has_places(self, key: str, places: Iterable[str]) -> bool:
        wanted_places = tuple(places)
        return len(self.boilers[key].filled_refs(*wanted_places)) == len(wanted_places)

    def _assign_states(self) -> None:
        for state in STATES[self.number]:
            if key := self._take_boiler():
                self.cases[key].state = state

    def _assign_defects(self, defects: Iterable[Defect]) -> None:
        """Assign each defect to a boiler. No place gets two; a defect of a new boiler gets a boiler of its own."""
        for defect in defects:
            if defect.new:
                key = self._take_boiler(*defect.needs)
            else:
                fits = [k for k in self.free if self._has_room_for(k, defect)]
                key = min(fits, key=lambda k: len(self.cases[k].defects), default=None)
            if key:
                self.cases[key].defects += (defect,)

    def _has_room_for(self, key: str, defect: Defect) -> bool:
        taken_places = {place for d in self.cases[key].defects for place in d.needs}
        return self._has_places(key, defect.needs) and not taken_places & set(defect.needs)

    def _stage_open_cases(self) -> None:
        for code, age in OPEN_CASES[self.number]:
            key = self._take_boiler(*_places_needed(code)) if len(self.free) > BOILERS_WITHOUT_OPEN_CASE else None
            if key:
                self.cases[key].staged = (StagedEvent(self.now - age, code, open=True),)
                self.boilers[key] = replace(self.boilers[key], seasonal=False)

    def _stage_everything_once(self) -> None:
        """Stage every trouble and incident once, spread over the past. One boiler may get several."""
        codes = [t.code for t in TROUBLES] + [i.code for i in INCIDENTS] + [CLEANED_FIRST, CLEANED_FIRST]
        span = max(30, round(365 * self.years) - 120)
        for nth, code in enumerate(codes[self.number :: 2]):
            fits = [k for k in self.cases if self._is_fit_for(k, code)]
            key = min(fits, key=lambda k: (len(self.cases[k].staged), -len(self.boilers[k].places)), default=None)
            if key:
                age = span + 30 if code == CLEANED_FIRST else 30 + (nth * 37) % span
                day = _heating_day(day_of(self.now - timedelta(days=age)))
                at = local_time(day, 9 + nth % 7, self.chance.whole_number(0, 59))
                self.cases[key].staged += (StagedEvent(at, code, again=REPEAT_DAYS.get(code, 0)),)

    def _is_fit_for(self, key: str, code: str) -> bool:
        case, needed_places = self.cases[key], _places_needed(code)
        if case.state or case.is_new or any(s.open for s in case.staged):
            return False
        if any(d.code in ("no_upper", "no_lower") for d in case.defects) and _CUTOFFS & set(needed_places):
            return False
        if case.has_defect("never_popped") and "valve" in needed_places:
            return False
        is_right_kind = _ONLY.get(code, "") in ("", self.boilers[key].places["upper"].kind)
        return is_right_kind and self._has_places(key, needed_places)


def _places_needed(code: str) -> tuple[str, ...]:
    return ("chamber", *_NEEDS[code]) if _ONLY.get(code) else _NEEDS[code]


def _heating_day(day: date) -> date:
    """Return the day, or for a day from June to September one of the winter before: boilers are laid up then."""
    return day if not 5 < day.month < 10 else day.replace(month=day.month - 5, day=min(day.day, 28))
