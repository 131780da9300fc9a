"""Judge a scenario at each of its moments, by what was known then, and tell how it went."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from fleet.rules import ReplayCache, judge
from fleet.rules.values import Evidence, VisitFact
from tests.rules.scenarios.check import Outcome, Seen, check
from tests.rules.scenarios.form import Scenario, read, visit_id
from tests.rules.scenarios.nodes import Broken

MET, NOT_MET, BROKEN = 0, 1, 2


@dataclass(frozen=True)
class Result:
    """One moment with its expectations beside what was got."""

    line: int
    when: str
    outcomes: tuple[Outcome, ...]

    @property
    def met(self) -> bool:
        """Whether every expectation was met."""
        return all(o.met for o in self.outcomes)


def known_visits(scenario: Scenario, known_at: datetime | None) -> tuple[VisitFact, ...]:
    """The visits posted by then, corrections beside what they correct: the rules choose between them."""
    posted = [p for p in scenario.posted if known_at is None or p.visit.posted_at <= known_at]
    seconded = {p.name for p in posted if p.seconded_at and (known_at is None or p.seconded_at <= known_at)}
    return tuple(replace(p.visit, seconded=p.name in seconded) for p in posted)


def with_visits(scenario: Scenario, visits: tuple[VisitFact, ...]) -> Evidence:
    """The scenario's register with these visits."""
    return replace(scenario.evidence, visits=visits)


def results(scenario: Scenario) -> Iterator[Result]:
    """Judge the scenario at each moment."""
    names = {p.name: visit_id(p.name) for p in scenario.posted}
    whole, part = ReplayCache(), ReplayCache()  # of moment after moment, much of what is asked is the same
    for moment in scenario.moments:
        evidence = with_visits(scenario, known_visits(scenario, moment.known_at))
        so_far = until(evidence, moment.at)
        now = judge(evidence, scenario.acts, moment.at, whole)
        then = judge(so_far, scenario.acts, moment.at, whole if so_far == evidence else part)
        seen = Seen(moment, evidence, now, then, names)
        when = seen.local(moment.at) + (f", known {seen.local(moment.known_at)}" if moment.known_at else "")
        yield Result(moment.line, when, tuple(check(seen)))


def until(evidence: Evidence, at: datetime) -> Evidence:
    """What was done by then, and nothing after."""
    return replace(evidence, visits=tuple(v for v in evidence.visits if v.at <= at))


def report(scenario: Scenario, found: list[Result], verbose: bool) -> Iterator[str]:
    """Expected beside got: what differs, or all of it."""
    bad = [r for r in found if not r.met]
    if bad or verbose or scenario.known_fault:
        yield f"{scenario.file}:{scenario.line}: {scenario.name}"
    if scenario.known_fault:
        seen = "" if bad else " (but everything was met: take the mark away)"
        yield f"  known fault: {scenario.known_fault}{seen}"
    for result in found if verbose else bad:
        yield f"  {result.when} (line {result.line})"
        for outcome in result.outcomes:
            if verbose or not outcome.met:
                yield f"    {'ok ' if outcome.met else 'NOT'} {outcome.what}: expected {outcome.expected}"
                if not outcome.met:
                    yield f"        got {outcome.got}"


def run(paths: list[Path], verbose: bool = False) -> int:
    """Run every file and print how it went; 0 all met, 1 some not, 2 a file is broken."""
    scenarios, moments, failed, broken = 0, 0, 0, 0
    for path in paths:
        try:
            read_ = read(path)
        except Broken as error:
            print(error)
            broken += 1
            continue
        for scenario in read_:
            found = list(results(scenario))
            scenarios, moments = scenarios + 1, moments + len(found)
            failed += sum(not r.met for r in found)
            for line in report(scenario, found, verbose):
                print(line)
    print(f"{scenarios} scenarios, {moments} moments, {failed} failed")
    return BROKEN if broken else NOT_MET if failed else MET
