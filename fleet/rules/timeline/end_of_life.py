"""A carbon monoxide alarm after its last day: out of date by time alone, whatever its test says."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise

from fleet.calendar import day_start
from fleet.rules.finding_codes import FindingCode
from fleet.rules.ledger.episodes import EpisodeCase
from fleet.rules.ledger.records import PositionRecord, PositionSnapshot, ReplayLedger
from fleet.rules.replay.replay_run import ReplayRun
from fleet.rules.values import Level, PositionStateSegment, Reason, State

OUT_OF_DATE_RULE = FindingCode.ALARM_OUT_OF_DATE


def expired_at(snapshot: PositionSnapshot, zone: str) -> datetime | None:
    """Return the first instant after the last day of the device, None if it has no last day."""
    return day_start(snapshot.end_of_life + timedelta(days=1), zone) if snapshot.end_of_life and snapshot.kind else None


def add_expiry_cases(run: ReplayRun) -> None:
    """Open an episode when the last day passes with the device in place. Another device closes it."""
    for record in run.ledger.records.values():
        snapshots = run.snapshots[record.position.id]
        for begin, end in _expired_spans(run.ledger, snapshots) if any(s.end_of_life for s in snapshots) else ():
            already_open = any(c.rule.code == OUT_OF_DATE_RULE and _overlaps_span(c, begin, end) for c in record.cases)
            if not already_open and OUT_OF_DATE_RULE in run.ledger.catalogue.findings:
                _open_expiry_case(run.ledger, record, begin, end)


def _overlaps_span(case: EpisodeCase, begin: datetime, end: datetime | None) -> bool:
    return (end is None or case.opened_at < end) and (case.closed_at is None or case.closed_at > begin)


def _expired_spans(
    ledger: ReplayLedger, snapshots: list[PositionSnapshot]
) -> Iterator[tuple[datetime, datetime | None]]:
    """Yield when an expired device was in place: one span for a device, however often its snapshots change."""
    zone, begun = ledger.evidence.zone, None
    for snapshot, after in pairwise([*snapshots, None]):
        over = expired_at(snapshot, zone) if snapshot else None
        if begun is not None and snapshot is not None and over != begun[0]:
            yield begun[1], snapshot.at
            begun = None
        end = after.at if after else None
        if begun is None and snapshot is not None and over is not None and (end is None or over < end):
            begun = over, max(over, snapshot.at or over)
    if begun is not None:
        yield begun[1], None


def _open_expiry_case(ledger: ReplayLedger, record: PositionRecord, begin: datetime, end: datetime | None) -> None:
    rule = ledger.catalogue.findings[OUT_OF_DATE_RULE]
    number = ledger.episodes.get((record.position.id, OUT_OF_DATE_RULE), 0) + 1
    name = record.position.name
    case = EpisodeCase(
        rule,
        record.position.id,
        opened_at=begin,
        entry=None,
        sentence=expiry_sentence(name),
        found_by=frozenset(),
        down=True,
        episode=number,
        level=Level(rule.level),
    )
    case.closed_at, case.by_time = end, True
    ledger.file_case(record, case)


def expiry_sentence(name: str) -> str:
    """Return the sentence about an expired device."""
    return f"The {name} is past its last day: it may not sound."


def fail_after_expiry(
    segments: Iterator[PositionStateSegment], record: PositionRecord, over: datetime
) -> Iterator[PositionStateSegment]:
    """Yield the states with the expired device failed from its day on. A state that is down already stays."""
    for segment in segments:
        if segment.state.down or (segment.until is not None and segment.until <= over):
            yield segment
            continue
        if segment.since is None or segment.since < over:
            yield replace(segment, until=over)
        since = over if segment.since is None else max(over, segment.since)
        reason = Reason(
            OUT_OF_DATE_RULE,
            expiry_sentence(record.position.name),
            hazard=record.role.hazard,
            position=record.position.id,
            entry=None,
            since=over,
        )
        yield PositionStateSegment(record.position.id, since, until=segment.until, state=State.FAILED, reason=reason)
