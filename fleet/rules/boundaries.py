"""The boiler's standings from the beginning of time on, cut at every instant at which one of their causes changes."""

from bisect import bisect_right
from collections.abc import Sequence
from datetime import datetime
from itertools import pairwise
from uuid import UUID

from fleet.rules.ledger import Case
from fleet.rules.replay import Replay
from fleet.rules.standing import SAYS, OpenCase, Seen, View, decide
from fleet.rules.values import Reason, Service, Standing, StandingSegment, StateSegment
from fleet.rules.wording import on


class Timeline:
    """Looks up, at any instant, the states, cases and service state that a replay left behind."""

    def __init__(self, run: Replay, states: Sequence[StateSegment]) -> None:
        self.run, self.evidence = run, run.ledger.evidence
        self.cases = list(run.ledger.all_cases())
        self.services = sorted(self.evidence.services, key=lambda s: (s.since, s.state))
        self.surveyed_at = _surveyed_at(run)
        self._states: dict[UUID, list[StateSegment]] = {}
        for segment in states:
            self._states.setdefault(segment.position, []).append(segment)
        self._starts = {p: [s.since for s in found[1:] if s.since] for p, found in self._states.items()}
        self._needed = {p: _needed_since(run, p) for p in self._states}

    def instants(self) -> list[datetime]:
        """Every instant at which anything changes, in order."""
        found = {s.since for segments in self._states.values() for s in segments if s.since}
        found |= {c.opened_at for c in self.cases} | {c.closed_at for c in self.cases if c.closed_at}
        found |= {s.since for s in self.services}
        if self.surveyed_at:
            found.add(self.surveyed_at)
        return sorted(found)

    def state_at(self, position: UUID, at: datetime | None) -> StateSegment:
        """The segment that holds at `at`; None is the beginning of time."""
        segments = self._states[position]
        return segments[bisect_right(self._starts[position], at) if at else 0]

    def view(self, at: datetime | None) -> View:
        """Everything the standing depends on at `at`."""
        return View(
            at=at,
            service=self.service_at(at),
            surveyed=bool(at and self.surveyed_at and self.surveyed_at <= at),
            hazards=list(self.run.ledger.catalogue.hazards.values()),
            seen=[self._seen(p, at) for p in self._states],
            cases=[OpenCase(c.level, self._reason(c)) for c in self.cases if _open_at(c, at)],
        )

    def service_at(self, at: datetime | None) -> Service:
        """The service state at `at`; no word of it means in service."""
        past = [s for s in self.services if at and s.since <= at]
        return past[-1].state if past else Service.IN_SERVICE

    def _seen(self, position: UUID, at: datetime | None) -> Seen:
        segment, record = self.state_at(position, at), self.run.ledger.records[position]
        needed = [n for since, n in self._needed[position] if since is None or (at and since <= at)][-1]
        return Seen(position, record.role, needed, segment.state, segment.reason)

    def _reason(self, case: Case) -> Reason:
        record = self.run.ledger.records[case.position] if case.position else None
        hazard = record.role.hazard if record else ""
        sentence = f"{case.sentence} ({on(case.opened_at, self.evidence.zone)})"
        return Reason(case.rule.code, sentence, hazard, case.position, case.entry, case.opened_at)


def _needed_since(run: Replay, position: UUID) -> list[tuple[datetime | None, bool]]:
    return [(s.at, s.needed) for s in run.snapshots[position]]


def _open_at(case: Case, at: datetime | None) -> bool:
    return at is not None and case.opened_at <= at and (case.closed_at is None or at < case.closed_at)


def _surveyed_at(run: Replay) -> datetime | None:
    """When the first visit with a qualified technician ended."""
    visits = run.ledger.evidence.visits
    # A neighbour's visit, known here by its entries on shared positions, surveyed the neighbour.
    return min((run.after[v.id].at for v in visits if v.own and "technician" in v.qualifications), default=None)


def standings(timeline: Timeline) -> tuple[StandingSegment, ...]:
    """Cut the whole of time into standings; neighbours that say the same are one."""
    starts: list[datetime | None] = [None, *timeline.instants()]
    cut: list[StandingSegment] = []
    for since, until in pairwise([*starts, None]):
        standing, reasons = decide(timeline.view(since))
        then = _then(timeline, standing, reasons)
        if cut and (cut[-1].standing, cut[-1].reasons, cut[-1].then) == (standing, reasons, then):
            since = cut.pop().since
        cut.append(StandingSegment(since, until, standing, reasons, then))
    return tuple(cut)


def _then(timeline: Timeline, standing: Standing, reasons: Sequence[Reason]) -> str:
    """The next thing to do: the first act of the worst rule, else what the board says for this standing."""
    rules = timeline.run.ledger.catalogue.findings
    act = next((rules[r.rule].first_act for r in reasons if r.rule in rules), "")
    return act or SAYS[standing]
