"""The town: two property managers, their houses, and what happened there until `now`."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from fleet.management.town import invented_names, setups, slips
from fleet.management.town.agenda import CaretakerHabits
from fleet.management.town.boiler_work import BoilerCrew
from fleet.management.town.cases import StagedCases
from fleet.management.town.chance import Chance
from fleet.management.town.life import BoilerLife
from fleet.management.town.season import day_of, local_time, to_minute
from fleet.management.town.story_values import Story, TownBoiler, TownHouse, TownMember, TownPaper, TownServiceState

BOOK_AGE = timedelta(days=400)  # earlier checks were written into a book
DAY, HOUR = timedelta(days=1), timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class TownSize:
    """Size of the town: houses of each property manager, and years of their past."""

    houses: int = 27
    years: float = 3.0


TERMS = {"variants": {"slow_drain": "semi_annual"}, "urgent_days": 10, "due_soon_days": 21}


def make_stories(seed: int, now: datetime, size: TownSize | None = None) -> list[Story]:
    """Return the stories of the property managers. The same seed, instant and size give the same stories."""
    return [make_manager_story(seed, number, now, size or TownSize()) for number in range(len(invented_names.MANAGERS))]


def make_manager_story(seed: int, number: int, now: datetime, size: TownSize) -> Story:
    """Return the story of one property manager. It does not depend on the others."""
    now = to_minute(now)
    ref, name, people = invented_names.MANAGERS[number]
    chance = Chance(f"{seed}/{ref}")
    houses = setups.make_houses(
        chance.branch("houses"), ref, people=people, count=size.houses, today=day_of(now), years=size.years
    )
    return _StoryTeller(chance, Story(ref, name, people, tuple(houses)), number=number, now=now, size=size).tell_story()


class _StoryTeller:
    """Tells the story of one property manager's houses, boiler by boiler."""

    def __init__(self, chance: Chance, bare: Story, number: int, now: datetime, size: TownSize) -> None:
        self.chance, self.bare, self.number, self.now, self.size = chance, bare, number, now, size
        self.begin = local_time(day_of(now - timedelta(days=round(365.25 * size.years))), 6)
        boilers = [b for h in bare.houses for b in h.boilers]
        self.cases = StagedCases(chance.branch("staged"), boilers, number=number, now=now, years=size.years)

    def tell_story(self) -> Story:
        """Return the story."""
        houses = [replace(h, boilers=tuple(self.cases.spoil_boiler(b) for b in h.boilers)) for h in self.bare.houses]
        story = replace(self.bare, houses=tuple(houses), visits=[], services=[], papers=[], truth=[])
        for house in houses:
            for boiler in house.boilers:
                self._tell_boiler(story, house, boiler)
        crew = self._make_crew("").technicians
        story.visits, slip_failures = slips.add_slips(self.chance.branch("slips"), story.visits, crew, self.now)
        story.truth += slip_failures
        story.visits = sorted((v for v in story.visits if v.posted_at < self.now), key=lambda v: (v.posted_at, v.key))
        story.papers = list(self._make_papers(houses))
        story.terms = dict(TERMS) if self.number == 0 else {}
        return story

    def _make_crew(self, caretaker: str) -> BoilerCrew:
        def members_in_role(role: str) -> list[TownMember]:
            return [m for m in self.bare.people if m.role == role]

        technicians = tuple(m.username for m in members_in_role("technician"))
        inspector, manager = members_in_role("inspector")[0].username, members_in_role("manager")[0].name
        shop = next(m.username for m in self.bare.people if "valve_shop" in m.qualifications)
        return BoilerCrew(technicians, caretaker, inspector=inspector, manager=manager, valve_shop=shop)

    def _tell_boiler(self, story: Story, house: TownHouse, boiler: TownBoiler) -> None:
        case = self.cases.case_of(boiler.key)
        if case.state == "unseen":
            return
        chance = self.chance.branch(boiler.key)
        habits = self._habits_of(house.caretaker)
        stopped_span = {"laid_up": 24 * DAY, "isolated": 70 * DAY}.get(case.state, timedelta(0))
        end = self.now - stopped_span
        begin = max(self.begin, local_time(boiler.since, 6))
        crew = self._make_crew(house.caretaker)
        life = BoilerLife(chance, boiler, crew, habits, begin=begin, end=end)
        life.paper = self.now - BOOK_AGE
        life.defects, life.pops = list(case.defects), not case.has_defect("never_popped")
        life.play_through(case.staged, quiet=case.is_quiet, served=case.state != "unserved")
        late = self.now - 9 * DAY
        story.visits += [v for v in life.visits if case.state != "forgotten" or v.at < late]
        story.services += life.services
        story.truth += [*life.truth, *case.paper_failures(boiler, self.begin)]
        if stopped_span:
            state = "laid_up_dry" if case.state == "laid_up" else "isolated"
            story.services.append(TownServiceState(boiler.key, state, end))

    def _habits_of(self, caretaker: str) -> CaretakerHabits:
        """Return a caretaker's habits. One caretaker posts by the month, the others at once."""
        names = [m.username for m in self.bare.people if m.role == "caretaker"]
        return CaretakerHabits.draw_habits(self.chance.branch("habits", caretaker), by_month=caretaker == names[1])

    def _make_papers(self, houses: Sequence[TownHouse]) -> Iterator[TownPaper]:
        today = day_of(self.now)
        for nth, house in enumerate(houses):
            until = today + timedelta(days=(nth * 41) % 360 - 3)
            yield TownPaper(
                house.ref, "certificate", name="boiler certificate", since=until - timedelta(days=365), until=until
            )
