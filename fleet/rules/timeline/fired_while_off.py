"""A boiler that is off on record and fires all the same: urgent, and a hold while another hold is open."""

from datetime import datetime
from itertools import pairwise

from fleet.calendar.spans import intersect_spans, merge_spans
from fleet.rules.finding_codes import FindingCode
from fleet.rules.ledger.effects import begin_case
from fleet.rules.ledger.records import ReplayLedger
from fleet.rules.replay.replay_run import ReplayRun
from fleet.rules.timeline.levels import level_segments
from fleet.rules.values import Level, ServiceChange
from fleet.rules.wording import local_day

RULE = FindingCode.FIRING_WHILE_OFF


def add_fired_cases(run: ReplayRun) -> None:
    """Open an episode from the word that it fires until it is in service on record, or found or left off."""
    ledger = run.ledger
    if RULE not in ledger.catalogue.findings:
        return
    services = sorted(ledger.evidence.services, key=lambda s: (s.since, s.fired_while is not None, s.state))
    for change, following in pairwise([*services, None]):
        if change is not None and change.fired_while is not None:
            _open_fired_case(ledger, change, following.since if following else None)


def _open_fired_case(ledger: ReplayLedger, change: ServiceChange, until: datetime | None) -> None:
    holds = merge_spans(_hold_spans(ledger))
    case = begin_case(ledger, RULE, place=None, at=change.since, entry=None, sentence=fired_sentence(ledger, change))
    case.by_time, case.closed_at = True, until
    for begin, end in intersect_spans([holds, [(change.since, until)]]):
        if begin is not None:
            case.later.append((begin, Level.HOLD))
        if end is not None and end != until:
            case.later.append((end, Level.URGENT))


def _hold_spans(ledger: ReplayLedger) -> list[tuple[datetime | None, datetime | None]]:
    cases = [c for c in ledger.all_cases() if c.rule.code != RULE]
    return [(s.since, s.until) for c in cases for s in level_segments(c) if s.level is Level.HOLD]


def fired_sentence(ledger: ReplayLedger, change: ServiceChange) -> str:
    """Return the sentence about a boiler that is off on record and fired."""
    state = change.fired_while.value.replace("_", " ") if change.fired_while else "off"
    day = local_day(change.since, ledger.evidence.zone)
    return f"It is {state} on record and was firing by the word of {day}: judged from then on as if in service."
