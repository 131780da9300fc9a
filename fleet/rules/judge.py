"""The one decision: everything that follows from one boiler's evidence."""

from collections.abc import Sequence
from datetime import datetime

from fleet.rules import states
from fleet.rules.boundaries import Timeline, standings
from fleet.rules.conditions import conditions
from fleet.rules.corrections import settle
from fleet.rules.glass import glass
from fleet.rules.heat import heat
from fleet.rules.ledger import Case
from fleet.rules.played import Played
from fleet.rules.readiness import readiness
from fleet.rules.replay import Replay
from fleet.rules.values import Act, Deficiency, Evidence, Judgement, Level, LevelSegment, StateSegment

VERSION = 7  # part of every conclusion's build: raise it when an answer can change


def judge(evidence: Evidence, acts: Sequence[Act], at: datetime, played: Played | None = None) -> Judgement:
    """Judge one boiler by all that is known of it; `at` (UTC) bounds nothing but what may already be said.

    Pure and total: the same evidence gives the same judgement whatever the order it is handed in. Acts never change
    a verdict, a state, a finding or a standing. `played`, handed in again for the same boiler, saves work, no more.
    """
    played = played or Played()
    return played.judged(evidence, acts, lambda: _judge(evidence, acts, played))


def _judge(evidence: Evidence, acts: Sequence[Act], played: Played) -> Judgement:
    evidence, waiting = settle(evidence, lambda some: _holds(played.of(some)))
    run = played.of(evidence)
    timeline, known = _timeline(run)
    cut = standings(timeline)
    visits = {v.id: v for v in evidence.visits if v.own}
    ready = tuple(readiness(timeline, v) for v in sorted(visits.values(), key=lambda v: (v.at, v.id)))
    return Judgement(
        verdicts=tuple(run.verdicts),
        findings=tuple(run.findings),
        deficiencies=_deficiencies(timeline),
        states=tuple(known),
        standings=cut,
        readiness=ready,
        conditions=conditions(timeline, known, cut, ready, acts),
        waiting=waiting,
        heat=heat(timeline, cut),
        surveyed_at=timeline.surveyed_at,
        anchor=max((a.at for a in run.after.values()), default=None),
        glass=glass(timeline),
    )


def _timeline(run: Replay) -> tuple[Timeline, list[StateSegment]]:
    known = [
        segment
        for p, record in run.ledger.records.items()
        for segment in states.segments(run.ledger, record, run.snapshots[p], run.cut.setdefault(p, []))
    ]
    return Timeline(run, known), known


def _holds(run: Replay) -> frozenset[str]:
    """The places, or the rules of the boiler as a whole, that are on hold when all is told."""
    open_ = [(c, {c.level, *(level for _, level in c.later)}) for c in run.ledger.all_cases() if c.is_open]
    # Only where an episode's class changes with time do its segments say which it is in the end.
    if any(len(levels) > 1 and Level.HOLD in levels for _, levels in open_):
        timeline, _ = _timeline(run)
        last = zip(timeline.cases, timeline.levels, strict=True)
        open_ = [(c, {levels[-1].level}) for c, levels in last if c.is_open]
    return frozenset(str(c.position or c.rule.code) for c, levels in open_ if levels == {Level.HOLD})


def _deficiencies(timeline: Timeline) -> tuple[Deficiency, ...]:
    made = [_deficiency(c, levels) for c, levels in zip(timeline.cases, timeline.levels, strict=True)]
    return tuple(sorted(made, key=lambda d: (d.opened_at, d.rule, str(d.position), d.episode)))


def _deficiency(case: Case, levels: tuple[LevelSegment, ...]) -> Deficiency:
    return Deficiency(
        position=case.position,
        rule=case.rule.code,
        episode=case.episode,
        opened_at=case.opened_at,
        entry=case.entry,
        levels=levels,
        sentence=case.sentence,
        clears_by=tuple(sorted(case.rule.clears_by)),
        repaired_at=case.acted_at,
        closed_at=case.closed_at,
        closed_by=case.closed_by,
    )
