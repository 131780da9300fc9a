"""Load one portfolio of the town: its past in bulk, then its last weeks day by day. All or nothing.

It is one transaction: a site that runs meanwhile would judge a half-loaded past by its own clock.
"""

import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from heapq import merge
from typing import Any

from django.db import transaction

from fleet import pipeline
from fleet.management.demo import settling
from fleet.management.demo.desk import Coming, Desk
from fleet.management.demo.posting import Address
from fleet.management.demo.settling import CAUSE
from fleet.management.town.chance import Chance
from fleet.management.town.season import clock, day_of
from fleet.management.town.told import Service, Story, Told
from fleet.pipeline import Bygone
from fleet.pipeline.edits import service_of
from fleet.portfolio.models import Portfolio

DAY_BY_DAY = timedelta(days=60)
Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Event:
    """An event of the last weeks. Events are ordered by time, then as listed."""

    at: datetime
    what: Callable[[datetime], None]


def load(
    story: Story, now: datetime, say: Say = lambda line: None, one_by_one: timedelta = DAY_BY_DAY
) -> Portfolio | None:
    """Load a portfolio as of `now`. Visits within `one_by_one` before it are posted one by one.

    Returns None where the portfolio exists already.
    """
    if Portfolio.objects.filter(ref=story.ref).exists():
        return None
    with transaction.atomic():
        return _Load(story, now, say, one_by_one).run()


class _Load:
    """Loads one portfolio."""

    def __init__(self, story: Story, now: datetime, say: Say, one_by_one: timedelta) -> None:
        self.story, self.now, self.tell = story, now, say
        self.cut = clock(day_of(now - one_by_one), 4)
        self.began = time.monotonic()

    def run(self) -> Portfolio:
        """Load register, past years and the last weeks."""
        self.portfolio = settling.portfolio_of(self.story)
        self.people = settling.people_of(self.portfolio, self.story.people)
        self._settle()
        self._past()
        self.desk = self._desk()
        for event in merge(self._mornings(), self._posts(), self._services(), key=lambda e: e.at):
            event.what(event.at)
        pipeline.sweep(at=self.now)
        done = ", ".join(f"{count} {kind}" for kind, count in sorted(self.desk.counts.items()))
        self.say(f"done, {len(self.story.visits)} visits; {done}")
        return self.portfolio

    def say(self, line: str) -> None:
        """Report a line of progress, with the seconds so far."""
        self.tell(f"{self.story.name}: {line} ({time.monotonic() - self.began:.0f} s)")

    def _settle(self) -> None:
        first = min([v.at for v in self.story.visits], default=self.now) - timedelta(days=30)
        owner = next(self.people[m.username] for m in self.story.people if m.role == "owner")
        settling.terms(self.portfolio, self.story, owner, first)
        self.boilers = settling.register(self.portfolio, self.story, first)
        settling.papers(self.portfolio, self.story, first)
        pure = self.story.boilers
        self.addresses = {
            key: Address(b, settling.places_of(b, pure[key]), self.people) for key, b in self.boilers.items()
        }
        self.say(f"{len(self.story.houses)} houses, {len(self.boilers)} boilers on record")

    def _past(self) -> None:
        settling.services(self.boilers, [s for s in self.story.services if s.since < self.cut])
        by_boiler: dict[str, list[Told]] = defaultdict(list)
        for told in self.story.visits:
            if told.posted_at < self.cut:
                by_boiler[told.boiler].append(told)
        for key, visits in sorted(by_boiler.items()):
            posts = [self._bygone(key, told) for told in visits]
            pipeline.post_bygone(posts, at=self.cut, cause=CAUSE)
            for told in visits:
                if told.second and told.second[1] < self.cut:
                    self._second(told, self.cut)
        pipeline.sweep(at=self.cut)
        self.say(f"{sum(map(len, by_boiler.values()))} visits until {day_of(self.cut)}, told in bulk")

    def _bygone(self, key: str, told: Told) -> Bygone:
        return Bygone(self.addresses[key].visit(told), self.people[told.people[0]], told.posted_at)

    def _desk(self) -> Desk:
        roles: dict[str, list[str]] = defaultdict(list)
        for member in self.story.people:
            roles[member.role].append(member.username)
        coming = [
            Coming(self.boilers[v.boiler].id, v.at, v.people[0])
            for v in self.story.visits
            if v.at > self.cut and v.people[0] in roles["technician"] and not v.corrects
        ]
        return Desk(Chance(self.story.ref), self.portfolio, self.people, roles, coming)

    # The last weeks.

    def _mornings(self) -> Iterator[Event]:
        day = day_of(self.cut) + timedelta(days=1)
        while (at := clock(day, 6)) < self.now:
            yield Event(at, self._morning)
            day += timedelta(days=1)

    def _morning(self, at: datetime) -> None:
        pipeline.sweep(at=at)
        self.desk.morning(min(at + timedelta(hours=2), self.now))
        if day_of(at).weekday() == 0:
            self.say(f"the week of {day_of(at)}")

    def _services(self) -> Iterable[Event]:
        recent = sorted((s for s in self.story.services if s.since >= self.cut), key=lambda s: s.since)
        return [Event(s.since, lambda at, s=s: self._service(s, at)) for s in recent]

    def _service(self, fact: Service, at: datetime) -> None:
        boiler = self.boilers[fact.boiler]
        values: dict[str, Any] = {"was": service_of(boiler.id, at), "state": fact.state, "day": day_of(at).isoformat()}
        pipeline.set_service(boiler=boiler, at=at, cause=CAUSE, **values)

    def _posts(self) -> Iterable[Event]:
        events = []
        for batch in _together([v for v in self.story.visits if v.posted_at >= self.cut]):
            events.append(Event(batch[0].posted_at, lambda at, b=batch: self._post(b, at)))
            events += [Event(v.again_at, lambda at, v=v: self._post([v], at)) for v in batch if v.again_at]
            events += [Event(v.second[1], lambda at, v=v: self._second(v, at)) for v in batch if v.second]
        return sorted((e for e in events if e.at < self.now), key=lambda e: e.at)

    def _post(self, batch: list[Told], at: datetime) -> None:
        first = batch[0]
        address, by = self.addresses[first.boiler], self.people[first.people[0]]
        if first.kind != "routine_check":
            self.desk.start(address.boiler.id, first.people[0], max(first.at, at - timedelta(hours=3)))
        pipeline.post_visits([address.visit(v) for v in batch], by=by, at=at)

    def _second(self, told: Told, at: datetime) -> None:
        assert told.second is not None
        visit = self.addresses[told.boiler].id_of(told.key)
        pipeline.second_correction(visit=visit, by=self.people[told.second[0]], at=at)


def _together(visits: Iterable[Told]) -> list[list[Told]]:
    """Group visits by post. A month's routine checks of one boiler are posted together; other visits singly."""
    found: dict[tuple[Any, ...], list[Told]] = {}
    counted: Counter[str] = Counter()
    for told in visits:
        routine = told.kind == "routine_check" and not told.corrects and told.posted_at - told.at > timedelta(hours=12)
        counted[told.boiler] += 1
        sheet = (told.boiler, told.people, day_of(told.posted_at)) if routine else (told.boiler, counted[told.boiler])
        found.setdefault(sheet, []).append(told)
    return list(found.values())
