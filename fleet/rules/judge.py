"""The one decision: everything that follows from one boiler's evidence."""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from fleet.rules.answers.conditions import gather_conditions
from fleet.rules.answers.heat import heat_of_boiler
from fleet.rules.answers.proof_glass import proof_glass
from fleet.rules.answers.readiness import answer_readiness
from fleet.rules.finding_codes import ends_by_word_alone
from fleet.rules.ledger.episodes import EpisodeCase
from fleet.rules.ledger.papers_of_others import papers_that_wait
from fleet.rules.replay.corrections import choose_visits
from fleet.rules.replay.replay_run import ReplayRun
from fleet.rules.timeline import states
from fleet.rules.timeline.boundaries import Timeline, cut_standings
from fleet.rules.timeline.replay_cache import ReplayCache
from fleet.rules.values import (
    ActFact,
    Evidence,
    JudgedDeficiency,
    Judgement,
    Level,
    LevelSegment,
    PositionStateSegment,
    ReadinessAnswer,
    WaitingNames,
    WaitingPaper,
)

VERSION = 18  # part of every conclusion's build: raise it when an answer can change


def judge(evidence: Evidence, acts: Sequence[ActFact], at: datetime, played: ReplayCache | None = None) -> Judgement:
    """Judge one boiler by all that is known of it; `at` (UTC) bounds nothing but what may already be said.

    Pure and total: the same evidence gives the same judgement whatever the order it is handed in. Acts never change
    a verdict, a state, a finding or a standing. `played`, handed in again for the same boiler, saves work, no more.
    """
    played = played or ReplayCache()
    return played.last_or_new(evidence, acts, lambda: _judge_anew(evidence, acts, played))


def _judge_anew(evidence: Evidence, acts: Sequence[ActFact], played: ReplayCache) -> Judgement:
    posted_evidence = evidence
    evidence, waiting = choose_visits(evidence, lambda some: _places_on_hold(played.replay_for(some)))
    run = played.replay_for(evidence)
    timeline, state_segments = _build_timeline(run)
    standing_segments = cut_standings(timeline)
    readiness_answers = _readiness_answers(timeline)
    return Judgement(
        verdicts=tuple(run.verdicts),
        findings=tuple(run.findings),
        deficiencies=_judged_deficiencies(timeline),
        states=tuple(state_segments),
        standings=standing_segments,
        readiness=readiness_answers,
        conditions=gather_conditions(
            timeline, state_segments, standings=standing_segments, readiness=readiness_answers, acts=acts
        ),
        waiting=waiting,
        heat=heat_of_boiler(timeline, standing_segments),
        surveyed_at=timeline.surveyed_at,
        anchor=max((a.at for a in run.after.values()), default=None),
        glass=proof_glass(timeline),
        waiting_papers=tuple(WaitingPaper(v, lacks) for v, lacks in papers_that_wait(run.ledger)),
        waiting_names=_waiting_names(posted_evidence, evidence, waiting),
    )


def _readiness_answers(timeline: Timeline) -> tuple[ReadinessAnswer, ...]:
    visits = {v.id: v for v in timeline.evidence.visits if v.of_this_boiler}
    possible_answers = (answer_readiness(timeline, v) for v in sorted(visits.values(), key=lambda v: (v.at, v.id)))
    return tuple(answer for answer in possible_answers if answer is not None)


def _waiting_names(
    posted_evidence: Evidence, chosen_evidence: Evidence, waiting: Sequence[UUID]
) -> tuple[WaitingNames, ...]:
    """Return whose word is missing, of the visits that count and of the corrections that wait."""
    known_ids = {*waiting, *(v.id for v in chosen_evidence.visits)}
    asking_visits = {
        v.id: v
        for v in posted_evidence.visits
        if v.id in known_ids and v.of_this_boiler and v.unconfirmed and not v.void
    }
    return tuple(
        WaitingNames(v.id, tuple(n.person for n in v.unconfirmed), tuple(sorted(v.qualifications)))
        for v in sorted(asking_visits.values(), key=lambda v: (v.at, v.id))
    )


def _build_timeline(run: ReplayRun) -> tuple[Timeline, list[PositionStateSegment]]:
    state_segments = [
        segment
        for p, record in run.ledger.records.items()
        for segment in states.state_segments(run.ledger, record, run.snapshots[p], run.cut.setdefault(p, []))
    ]
    return Timeline(run, state_segments), state_segments


def _places_on_hold(run: ReplayRun) -> frozenset[str]:
    """The places, or the rules of the boiler as a whole, that are on hold when all is told."""
    open_ = [(c, {c.level, *(level for _, level in c.later)}) for c in run.ledger.all_cases() if c.is_open]
    # Only where an episode's class changes with time do its segments say which it is in the end.
    if any(len(levels) > 1 and Level.HOLD in levels for _, levels in open_):
        timeline, _ = _build_timeline(run)
        last = zip(timeline.cases, timeline.levels, strict=True)
        open_ = [(c, {levels[-1].level}) for c, levels in last if c.is_open]
    return frozenset(str(c.position or c.rule.code) for c, levels in open_ if levels == {Level.HOLD})


def _judged_deficiencies(timeline: Timeline) -> tuple[JudgedDeficiency, ...]:
    deficiencies = [_judged_deficiency(c, levels) for c, levels in zip(timeline.cases, timeline.levels, strict=True)]
    return tuple(sorted(deficiencies, key=lambda d: (d.opened_at, d.rule, str(d.position), d.episode)))


def _judged_deficiency(case: EpisodeCase, levels: tuple[LevelSegment, ...]) -> JudgedDeficiency:
    return JudgedDeficiency(
        position=case.position,
        rule=case.rule.code,
        episode=case.episode,
        opened_at=case.opened_at,
        entry=case.entry,
        levels=levels,
        sentence=case.sentence,
        clears_by=() if ends_by_word_alone(case.rule.code, case.position) else tuple(sorted(case.rule.clears_by)),
        repaired_at=case.acted_at,
        closed_at=case.closed_at,
        closed_by=case.closed_by,
    )
