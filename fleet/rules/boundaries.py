"""The boiler's standings from the beginning of time on, cut at every instant at which one of their causes changes."""

from bisect import bisect_right
from collections.abc import Sequence
from datetime import datetime
from itertools import pairwise
from uuid import UUID

from fleet.engineering.relief import relief
from fleet.rules.ledger import Case
from fleet.rules.levels import level_segments
from fleet.rules.replay import Replay
from fleet.rules.standing import SAYS, OpenCase, Seen, View, decide
from fleet.rules.values import Level, LevelSegment, Reason, Service, Standing, StandingSegment, StateSegment, Visit
from fleet.rules.wording import on


class Timeline:
    """Looks up, at any instant, the states, open episodes and service state that a replay left behind."""

    def __init__(self, run: Replay, states: Sequence[StateSegment]) -> None:
        self.run, self.evidence = run, run.ledger.evidence
        self.services = sorted(self.evidence.services, key=lambda s: (s.since, s.state))
        self.surveyed_at = surveyed_at(run)
        self._states: dict[UUID, list[StateSegment]] = {}
        for segment in states:
            self._states.setdefault(segment.position, []).append(segment)
        self._starts = {p: [s.since for s in found[1:] if s.since] for p, found in self._states.items()}
        self._needed = {p: [s.needed for s in run.snapshots[p]] for p in self._states}
        self._needed_starts = {p: [s.at for s in run.snapshots[p][1:] if s.at] for p in self._states}
        self._visits = {e.id: v for v in self.evidence.visits for e in v.entries}
        self._capacity = {p: [s.capacity_lb_h for s in run.snapshots[p]] for p in self._states}
        self._outputs = _outputs(run)
        self.cases = list(run.ledger.all_cases())
        self.levels = [level_segments(c, self) for c in self.cases]
        self._open_starts, self._open = _open_lists(self.cases, self.levels)

    def instants(self) -> list[datetime]:
        """Every instant at which anything changes, in order."""
        found = {s.since for segments in self._states.values() for s in segments if s.since}
        found |= set(self._open_starts) | {s.since for s in self.services}
        found |= {at for starts in self._needed_starts.values() for at in starts}
        if self.surveyed_at:
            found.add(self.surveyed_at)
        return sorted(found)

    def visit_of(self, entry: UUID) -> Visit | None:
        """The visit an entry was made in."""
        return self._visits.get(entry)

    def states_of(self, position: UUID) -> list[StateSegment]:
        """All states of one position, in order."""
        return self._states[position]

    def state_at(self, position: UUID, at: datetime | None) -> StateSegment:
        """The segment that holds at `at`; None is the beginning of time."""
        return self._states[position][bisect_right(self._starts[position], at) if at else 0]

    def view(self, at: datetime | None) -> View:
        """Everything the standing depends on at `at`."""
        cases = self._open[bisect_right(self._open_starts, at)] if at else []
        return View(
            at=at,
            service=self.service_at(at),
            surveyed=bool(at and self.surveyed_at and self.surveyed_at <= at),
            hazards=list(self.run.ledger.catalogue.hazards.values()),
            seen=[self._seen(p, at) for p in self._states],
            cases=[OpenCase(level, self._reason(case)) for case, level in cases],
        )

    def service_at(self, at: datetime | None) -> Service:
        """The service state at `at`; no word of it means in service."""
        past = [s for s in self.services if at and s.since <= at]
        return past[-1].state if past else Service.IN_SERVICE

    def _seen(self, position: UUID, at: datetime | None) -> Seen:
        segment, record = self.state_at(position, at), self.run.ledger.records[position]
        needed = self._needed[position][self._nth(position, at)]
        return Seen(position, record.role, needed, segment.state, segment.reason, self._backed(position, at))

    def _nth(self, position: UUID, at: datetime | None) -> int:
        return bisect_right(self._needed_starts[position], at) if at else 0

    def _backed(self, position: UUID, at: datetime | None) -> bool:
        """Whether the other safety valves that stand carry the output by their stamps; unknown is not adequate."""
        valves = [p for p, r in self.run.ledger.records.items() if r.role.code == "safety_valve" and p != position]
        if at is None or not valves or self.run.ledger.records[position].role.code != "safety_valve":
            return False
        output = next((value for since, value in reversed(self._outputs) if since <= at), None)
        sound = [p for p in valves if self._needed[p][self._nth(p, at)] and self.state_at(p, at).state.stands]
        stamps = [self._capacity[p][self._nth(p, at)] for p in sound]
        return bool(output and stamps and relief(output, [s for s in stamps if s is not None]).adequate)

    def _reason(self, case: Case) -> Reason:
        record = self.run.ledger.records[case.position] if case.position else None
        hazard = record.role.hazard if record else ""
        sentence = f"{case.sentence} ({on(case.opened_at, self.evidence.zone)})"
        return Reason(case.rule.code, sentence, hazard, case.position, case.entry, case.opened_at)


def _outputs(run: Replay) -> list[tuple[datetime, float]]:
    """What the boiler can make, in Btu/h, from each date in the register on."""
    told = [s for s in run.ledger.evidence.settings if s.position is None and s.key == "output_btu_h"]
    known = [(s.since, s.value) for s in told if isinstance(s.value, (int, float)) and not isinstance(s.value, bool)]
    return sorted((since, float(value)) for since, value in known)


OpenList = list[tuple[Case, Level]]


def _open_lists(
    cases: Sequence[Case], levels: Sequence[tuple[LevelSegment, ...]]
) -> tuple[list[datetime], list[OpenList]]:
    """The instants at which the set of open episodes or a class of theirs changes, and the set from each on.

    One pass in time: looking every episode up at every instant would cost their product.
    """
    changes: dict[datetime, list[tuple[int, Level | None]]] = {}
    for number, segments in enumerate(levels):
        for segment in segments:
            changes.setdefault(segment.since, []).append((number, segment.level))
        if segments and (end := segments[-1].until):
            changes.setdefault(end, []).insert(0, (number, None))
    now: dict[int, Level] = {}
    starts, lists = sorted(changes), list[OpenList]([[]])
    for at in starts:
        for number, level in changes[at]:
            if level is None:
                now.pop(number, None)
            else:
                now[number] = level
        lists.append([(cases[n], level) for n, level in sorted(now.items())])
    return starts, lists


def surveyed_at(run: Replay) -> datetime | None:
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
