"""What judging a boiler leaves behind for the next time: a fact that comes last is then all that is replayed."""

from collections.abc import Callable, Sequence
from uuid import UUID

from fleet.rules.replay.evidence_replay import replay_evidence, resume_replay, value_types
from fleet.rules.replay.replay_run import ReplayRun
from fleet.rules.timeline import device_age, end_of_life, fired_while_off, set_pressure
from fleet.rules.values import ActFact, Evidence, Judgement


class ReplayCache:
    """The replays of one boiler, by the visits that count; what it is asked changes how long an answer takes, only.

    Two things are asked of the same evidence, which corrections wait and what follows: it is replayed once. From one
    judgement to the next the replays are kept, and one is resumed where what is new comes after all that it knows.
    Not for two threads at once. After an error it must be thrown away: a replay may have stopped half way.
    """

    def __init__(self) -> None:
        self._runs: dict[tuple[UUID, ...], ReplayRun] = {}
        self._older: list[ReplayRun] = []
        self._last: tuple[Evidence, tuple[ActFact, ...], Judgement] | None = None

    def last_or_new(self, evidence: Evidence, acts: Sequence[ActFact], make: Callable[[], Judgement]) -> Judgement:
        """Return the last judgement if it was made from the same evidence and acts, else the one that `make` makes."""
        last = self._last
        if last is not None and last[:2] == (evidence, tuple(acts)) and value_types(last[0]) == value_types(evidence):
            return last[2]
        self._runs, self._older = {}, list(self._runs.values())
        judgement = make()
        self._last = evidence, tuple(acts), judgement
        return judgement

    def replay_for(self, evidence: Evidence) -> ReplayRun:
        """Return the replay of some evidence of the boiler, with the episodes that time alone brings."""
        counted = tuple(v.id for v in evidence.visits)
        if counted not in self._runs:
            run = self._resume_older(evidence) or replay_evidence(evidence)
            set_pressure.add_overdue_cases(run)
            end_of_life.add_expiry_cases(run)
            device_age.add_aged_cases(run)
            fired_while_off.add_fired_cases(run)
            self._runs[counted] = run
        return self._runs[counted]

    def _resume_older(self, evidence: Evidence) -> ReplayRun | None:
        run = next((r for r in self._older if resume_replay(r, evidence)), None)
        self._older = [r for r in self._older if r is not run]
        return run
