"""Load one portfolio of the town: its past in bulk, then its last weeks day by day. All or nothing.

It is one transaction: a site that runs meanwhile would judge a half-loaded past by its own clock.
"""

import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from heapq import merge
from typing import Any

from django.db import transaction

from fleet import pipeline
from fleet.assessments.models import Waiting
from fleet.management.demo import portfolio_setup
from fleet.management.demo.desk import ComingVisit, DemoDesk
from fleet.management.demo.portfolio_setup import CAUSE
from fleet.management.demo.posting import StoryAddress
from fleet.management.demo.reach import give_addresses
from fleet.management.town.chance import Chance
from fleet.management.town.season import day_of, local_time
from fleet.management.town.story_values import Story, TownServiceState, TownVisit
from fleet.pipeline import PastVisit
from fleet.pipeline.edits import service_state_at
from fleet.portfolio.models import Portfolio
from fleet.rules.vocabulary import NameReply

DAY_BY_DAY_SPAN = timedelta(days=60)
ANSWERS_WITHIN = timedelta(hours=3)  # after a visit was posted, whoever it names has said that it was so
Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class LoadEvent:
    """An event of the last weeks. Events are ordered by time, then as listed."""

    at: datetime
    action: Callable[[datetime], None]


def load_portfolio(
    story: Story, now: datetime, say: Say = lambda line: None, one_by_one: timedelta = DAY_BY_DAY_SPAN
) -> Portfolio | None:
    """Load a portfolio as of `now`. Visits within `one_by_one` before it are posted one by one.

    Returns None where the portfolio exists already.
    """
    existing = Portfolio.objects.filter(ref=story.ref).first()
    if existing is not None:
        give_addresses(existing, now)  # a demonstration of an earlier version told nobody
        return None
    with transaction.atomic():
        return _PortfolioLoad(story, now, say, one_by_one).load_all()


class _PortfolioLoad:
    """Loads one portfolio."""

    def __init__(self, story: Story, now: datetime, say: Say, one_by_one: timedelta) -> None:
        self.story, self.now, self.tell = story, now, say
        self.cut = local_time(day_of(now - one_by_one), 4)
        self.began = time.monotonic()

    def load_all(self) -> Portfolio:
        """Load register, past years and the last weeks."""
        self.portfolio = portfolio_setup.create_portfolio(self.story)
        self.people = portfolio_setup.create_people(self.portfolio, self.story.people)
        self._set_up_portfolio()
        self._load_past()
        self.desk = self._make_desk()
        for event in merge(self._morning_events(), self._post_events(), self._service_events(), key=lambda e: e.at):
            event.action(event.at)
        pipeline.sweep(at=self.now, tells=False)
        give_addresses(self.portfolio, self.now)
        decision_counts = ", ".join(f"{count} {kind}" for kind, count in sorted(self.desk.counts.items()))
        self.report_progress(f"done, {len(self.story.visits)} visits; {decision_counts}")
        return self.portfolio

    def report_progress(self, line: str) -> None:
        """Report a line of progress, with the seconds so far."""
        self.tell(f"{self.story.name}: {line} ({time.monotonic() - self.began:.0f} s)")

    def _set_up_portfolio(self) -> None:
        first = min([v.at for v in self.story.visits], default=self.now) - timedelta(days=30)
        owner = next(self.people[m.username] for m in self.story.people if m.role == "owner")
        portfolio_setup.adopt_terms(self.portfolio, self.story, owner, first)
        self.boilers = portfolio_setup.hand_in_register(self.portfolio, self.story, first)
        portfolio_setup.add_papers(self.portfolio, self.story, first)
        pure = self.story.boilers
        self.addresses = {
            key: StoryAddress(b, portfolio_setup.position_ids_of(b, pure[key]), self.people)
            for key, b in self.boilers.items()
        }
        self.report_progress(f"{len(self.story.houses)} houses, {len(self.boilers)} boilers on record")

    def _load_past(self) -> None:
        portfolio_setup.store_service_states(self.boilers, [s for s in self.story.services if s.since < self.cut])
        by_boiler: dict[str, list[TownVisit]] = defaultdict(list)
        for visit in self.story.visits:
            if visit.posted_at < self.cut:
                by_boiler[visit.boiler].append(visit)
        for key, visits in sorted(by_boiler.items()):
            posts = [self._bygone_post(key, visit) for visit in visits]
            pipeline.post_past_visits(posts, at=self.cut, cause=CAUSE)
            for visit in visits:
                if visit.second and visit.second[1] < self.cut:
                    self._second_correction(visit, self.cut)
            self._second_named_people(visits, self.cut)
        pipeline.sweep(at=self.cut, tells=False)
        self.report_progress(f"{sum(map(len, by_boiler.values()))} visits until {day_of(self.cut)}, told in bulk")

    def _bygone_post(self, key: str, visit: TownVisit) -> PastVisit:
        return PastVisit(self.addresses[key].incoming_visit(visit), self.people[visit.people[0]], visit.posted_at)

    def _make_desk(self) -> DemoDesk:
        roles: dict[str, list[str]] = defaultdict(list)
        for member in self.story.people:
            roles[member.role].append(member.username)
        coming = [
            ComingVisit(self.boilers[v.boiler].id, v.at, v.people[0])
            for v in self.story.visits
            if v.at > self.cut and v.people[0] in roles["technician"] and not v.corrects
        ]
        return DemoDesk(Chance(self.story.ref), self.portfolio, people=self.people, roles=roles, coming=coming)

    # The last weeks.

    def _morning_events(self) -> Iterator[LoadEvent]:
        day = day_of(self.cut) + timedelta(days=1)
        while (at := local_time(day, 6)) < self.now:
            yield LoadEvent(at, self._run_morning)
            day += timedelta(days=1)

    def _run_morning(self, at: datetime) -> None:
        pipeline.sweep(at=at, tells=False)
        self.desk.decide_morning(min(at + timedelta(hours=2), self.now))
        if day_of(at).weekday() == 0:
            self.report_progress(f"the week of {day_of(at)}")

    def _service_events(self) -> Iterable[LoadEvent]:
        recent = sorted((s for s in self.story.services if s.since >= self.cut), key=lambda s: s.since)
        return [LoadEvent(s.since, partial(self._set_service_state, s)) for s in recent]

    def _set_service_state(self, fact: TownServiceState, at: datetime) -> None:
        boiler = self.boilers[fact.boiler]
        values: dict[str, Any] = {
            "was": service_state_at(boiler.id, at),
            "state": fact.state,
            "day": day_of(at).isoformat(),
        }
        pipeline.set_service(boiler=boiler, at=at, cause=CAUSE, **values)

    def _post_events(self) -> Iterable[LoadEvent]:
        events = []
        for batch in _group_month_sheets([v for v in self.story.visits if v.posted_at >= self.cut]):
            events.append(LoadEvent(batch[0].posted_at, partial(self._post_batch, batch)))
            events += [LoadEvent(v.again_at, partial(self._post_batch, [v])) for v in batch if v.again_at]
            events += [LoadEvent(v.second[1], partial(self._second_correction, v)) for v in batch if v.second]
            if any(len(v.people) > 1 for v in batch):
                said_at = batch[0].posted_at + ANSWERS_WITHIN
                events.append(LoadEvent(said_at, partial(self._second_named_people, batch)))
        return sorted((e for e in events if e.at < self.now), key=lambda e: e.at)

    def _post_batch(self, batch: list[TownVisit], at: datetime) -> None:
        first = batch[0]
        address, by = self.addresses[first.boiler], self.people[first.people[0]]
        if first.kind != "routine_check":
            self.desk.start_planned_jobs(address.boiler.id, first.people[0], max(first.at, at - timedelta(hours=3)))
        pipeline.post_visits([address.incoming_visit(v) for v in batch], by=by, at=at)

    def _second_correction(self, correction: TownVisit, at: datetime) -> None:
        assert correction.second is not None
        visit = self.addresses[correction.boiler].visit_id_of(correction.key)
        pipeline.second_correction(visit=visit, by=self.people[correction.second[0]], at=at)

    def _second_named_people(self, visits: Iterable[TownVisit], at: datetime) -> None:
        """Let everybody whom a colleague's post names, and whose word is missing, say that it was so."""
        ids = [self.addresses[v.boiler].visit_id_of(v.key) for v in visits if len(v.people) > 1]
        users = {str(user.id): user for user in self.people.values()}
        for waiting in (
            Waiting.objects.filter(visit__in=ids, visit__corrected_by=None)
            .exclude(people=[])
            .order_by("visit__performed_at", "id")
        ):
            for person in waiting.people:
                pipeline.reply_to_naming(
                    visit=waiting.visit_id, by=users[person], reply=NameReply.SECONDED, at=at, cause=CAUSE
                )


def _group_month_sheets(visits: Iterable[TownVisit]) -> list[list[TownVisit]]:
    """Group visits by post. A month's routine checks of one boiler are posted together; other visits singly."""
    batches: dict[tuple[object, ...], list[TownVisit]] = {}
    visit_numbers: Counter[str] = Counter()
    for visit in visits:
        routine = (
            visit.kind == "routine_check" and not visit.corrects and visit.posted_at - visit.at > timedelta(hours=12)
        )
        visit_numbers[visit.boiler] += 1
        sheet = (
            (visit.boiler, visit.people, day_of(visit.posted_at))
            if routine
            else (visit.boiler, visit_numbers[visit.boiler])
        )
        batches.setdefault(sheet, []).append(visit)
    return list(batches.values())
