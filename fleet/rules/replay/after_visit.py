"""What was open, touched, proven and in doubt when a visit ended."""

from datetime import datetime

from fleet.rules.replay.replay_run import AfterVisit, ReplayRun
from fleet.rules.values import EntryFact, VisitFact
from fleet.rules.vocabulary import Outcome


def state_after_visit(run: ReplayRun, visit: VisitFact, at: datetime) -> AfterVisit:
    """Return what the end of a visit left behind; asked when its last entry was replayed."""
    verdicts = run.by_entry
    judged = [(e, verdicts[e.id]) for e in visit.entries if e.id in verdicts and e.position]
    # A pass that nobody present may give proves nothing: it counts neither as looked at nor as conclusive.
    settled_entries = [e for e, v in judged if v.proves or v.outcome == Outcome.FAIL]
    doubtful = [e for e, v in judged if v.outcome == Outcome.INCONCLUSIVE and not _is_settled(run, e, settled_entries)]
    records = run.ledger.records.values()
    return AfterVisit(
        at=at,
        open_cases=tuple(run.ledger.open_cases()),
        touched=tuple((r.position.id, t.needs) for r in records for t in r.touches.values()),
        inconclusive=tuple(dict.fromkeys(e.position for e in doubtful if e.position)),
        looked_at=frozenset(e.position for e in settled_entries if e.position),
        proven=frozenset(e.position for e, v in judged if e.position and v.proves == "full"),
        passed=frozenset((e.position, e.code) for e, v in judged if e.position and v.outcome == Outcome.PASS),
    )


def _is_settled(run: ReplayRun, entry: EntryFact, settled_entries: list[EntryFact]) -> bool:
    """Return whether the same test, or one that covers it, was answered there in the visit, or is no proof."""
    procedure_by_code = run.ledger.evidence.procedure_by_code
    return procedure_by_code(entry.code).proof == "none" or any(
        e.position == entry.position and procedure_by_code(e.code).covers_or_is(entry.code) for e in settled_entries
    )
