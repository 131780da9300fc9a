"""The town: two property managers, their houses, and what happened there until `now`."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from fleet.management.town import setups, slips, words
from fleet.management.town.agenda import Habits
from fleet.management.town.cases import Cases
from fleet.management.town.chance import Chance
from fleet.management.town.hands import Crew
from fleet.management.town.life import Life
from fleet.management.town.season import clock, day_of, minute
from fleet.management.town.told import Boiler, House, Member, Paper, Service, Story

PAPER = timedelta(days=400)  # earlier checks were written into a book
DAY, HOUR = timedelta(days=1), timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Size:
    """Size of the town: houses of each property manager, and years of their past."""

    houses: int = 27
    years: float = 3.0


TERMS = {"variants": {"slow_drain": "semi_annual"}, "urgent_days": 10, "due_soon_days": 21}


def make(seed: int, now: datetime, size: Size | None = None) -> list[Story]:
    """Return the stories of the property managers. The same seed, instant and size give the same stories."""
    return [manager(seed, number, now, size or Size()) for number in range(len(words.MANAGERS))]


def manager(seed: int, number: int, now: datetime, size: Size) -> Story:
    """Return the story of one property manager. It does not depend on the others."""
    now = minute(now)
    ref, name, people = words.MANAGERS[number]
    chance = Chance(f"{seed}/{ref}")
    houses = setups.houses(chance.of("houses"), ref, people, size.houses, day_of(now), size.years)
    return _Telling(chance, Story(ref, name, people, tuple(houses)), number, now, size).story()


class _Telling:
    """Tells the story of one property manager's houses, boiler by boiler."""

    def __init__(self, chance: Chance, bare: Story, number: int, now: datetime, size: Size) -> None:
        self.chance, self.bare, self.number, self.now, self.size = chance, bare, number, now, size
        self.begin = clock(day_of(now - timedelta(days=round(365.25 * size.years))), 6)
        boilers = [b for h in bare.houses for b in h.boilers]
        self.cases = Cases(chance.of("staged"), boilers, number, now, size.years)

    def story(self) -> Story:
        """Return the story."""
        houses = [replace(h, boilers=tuple(self.cases.spoiled(b) for b in h.boilers)) for h in self.bare.houses]
        story = replace(self.bare, houses=tuple(houses), visits=[], services=[], papers=[], truth=[])
        for house in houses:
            for boiler in house.boilers:
                self._tell(story, house, boiler)
        crew = self._crew("").technicians
        story.visits, pen = slips.told(self.chance.of("slips"), story.visits, crew, self.now)
        story.truth += pen
        story.visits = sorted((v for v in story.visits if v.posted_at < self.now), key=lambda v: (v.posted_at, v.key))
        story.papers = list(self._papers(houses))
        story.terms = dict(TERMS) if self.number == 0 else {}
        return story

    def _crew(self, caretaker: str) -> Crew:
        def having(role: str) -> list[Member]:
            return [m for m in self.bare.people if m.role == role]

        technicians = tuple(m.username for m in having("technician"))
        inspector, manager = having("inspector")[0].username, having("manager")[0].name
        shop = next(m.username for m in self.bare.people if "valve_shop" in m.qualifications)
        return Crew(technicians, caretaker, inspector, manager, shop)

    def _tell(self, story: Story, house: House, boiler: Boiler) -> None:
        case = self.cases.of(boiler.key)
        if case.state == "unseen":
            return
        chance = self.chance.of(boiler.key)
        habits = self._habits(house.caretaker)
        ends = {"laid_up": 24 * DAY, "isolated": 70 * DAY}.get(case.state, timedelta(0))
        end = self.now - ends
        begin = max(self.begin, clock(boiler.since, 6))
        life = Life(chance, boiler, self._crew(house.caretaker), habits, begin, end)
        life.paper = self.now - PAPER
        life.defects, life.pops = list(case.defects), not case.has("never_popped")
        life.live(case.staged, quiet=case.quiet, served=case.state != "unserved")
        late = self.now - 9 * DAY
        story.visits += [v for v in life.visits if case.state != "forgotten" or v.at < late]
        story.services += life.services
        story.truth += [*life.truth, *case.truth(boiler, self.begin)]
        if ends:
            state = "laid_up_dry" if case.state == "laid_up" else "isolated"
            story.services.append(Service(boiler.key, state, end))

    def _habits(self, caretaker: str) -> Habits:
        """Return a caretaker's habits. One caretaker posts by the month, the others at once."""
        names = [m.username for m in self.bare.people if m.role == "caretaker"]
        return Habits.of(self.chance.of("habits", caretaker), by_month=caretaker == names[1])

    def _papers(self, houses: Sequence[House]) -> Iterator[Paper]:
        today = day_of(self.now)
        for nth, house in enumerate(houses):
            until = today + timedelta(days=(nth * 41) % 360 - 3)
            yield Paper(house.ref, "certificate", "boiler certificate", until - timedelta(days=365), until)
