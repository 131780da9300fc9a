"""A carbon monoxide alarm after its last day: out of date by time alone, whatever its test says."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise

from fleet.calendar import day_start
from fleet.rules.finding_codes import FindingCode
from fleet.rules.ledger import Case, Ledger, Record, Snapshot
from fleet.rules.replay import Replay
from fleet.rules.values import Level, Reason, State, StateSegment

RULE = FindingCode.ALARM_OUT_OF_DATE


def over_at(here: Snapshot, zone: str) -> datetime | None:
    """The first instant after the last day of what is fitted; None where it has none."""
    return day_start(here.end_of_life + timedelta(days=1), zone) if here.end_of_life and here.kind else None


def add_cases(run: Replay) -> None:
    """Open an episode where the day passes with the device in place; another device closes it."""
    for record in run.ledger.records.values():
        snapshots = run.snapshots[record.position.id]
        for begin, end in _spans(run.ledger, snapshots) if any(s.end_of_life for s in snapshots) else ():
            told = any(c.rule.code == RULE and _overlap(c, begin, end) for c in record.cases)
            if not told and RULE in run.ledger.catalogue.findings:
                _open(run.ledger, record, begin, end)


def _overlap(case: Case, begin: datetime, end: datetime | None) -> bool:
    return (end is None or case.opened_at < end) and (case.closed_at is None or case.closed_at > begin)


def _spans(ledger: Ledger, snapshots: list[Snapshot]) -> Iterator[tuple[datetime, datetime | None]]:
    """When something out of date was in place, one span for a device however often its snapshots change."""
    zone, begun = ledger.evidence.zone, None
    for here, after in pairwise([*snapshots, None]):
        over = over_at(here, zone) if here else None
        if begun is not None and here is not None and over != begun[0]:
            yield begun[1], here.at
            begun = None
        end = after.at if after else None
        if begun is None and here is not None and over is not None and (end is None or over < end):
            begun = over, max(over, here.at or over)
    if begun is not None:
        yield begun[1], None


def _open(ledger: Ledger, record: Record, begin: datetime, end: datetime | None) -> None:
    rule = ledger.catalogue.findings[RULE]
    number = ledger.episodes.get((record.position.id, RULE), 0) + 1
    name = record.position.name
    case = Case(rule, record.position.id, begin, None, sentence(name), frozenset(), True, number, Level(rule.level))
    case.closed_at, case.by_time = end, True
    ledger.add(record, case)


def sentence(name: str) -> str:
    """What is said of it."""
    return f"The {name} is past its last day: it may not sound."


def cut(segments: Iterator[StateSegment], record: Record, over: datetime) -> Iterator[StateSegment]:
    """The states with what is out of date failed from its day on; what is worse already stays."""
    for segment in segments:
        if segment.state.down or (segment.until is not None and segment.until <= over):
            yield segment
            continue
        if segment.since is None or segment.since < over:
            yield replace(segment, until=over)
        since = over if segment.since is None else max(over, segment.since)
        reason = Reason(RULE, sentence(record.position.name), record.role.hazard, record.position.id, None, over)
        yield StateSegment(record.position.id, since, segment.until, State.FAILED, reason)
