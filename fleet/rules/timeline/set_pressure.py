"""A safety valve whose set pressure is not proven: routine in the first season it is seen, urgent after."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from itertools import zip_longest

from fleet.calendar import HeatingSeason, add_months, day_of, day_start
from fleet.rules.finding_codes import FindingCode
from fleet.rules.ledger.clocks import Clock, due_only_at
from fleet.rules.ledger.effects import begin_case
from fleet.rules.ledger.episodes import EpisodeCase
from fleet.rules.ledger.records import PositionRecord, PositionSnapshot, ReplayLedger
from fleet.rules.replay.replay_run import ReplayRun
from fleet.rules.timeline.boundaries import surveyed_at
from fleet.rules.values import LawInForce, Level
from fleet.rules.wording import local_day

RULE, PROCEDURE = FindingCode.SET_PRESSURE_UNPROVEN, "pop_test"


def add_overdue_cases(run: ReplayRun) -> None:
    """Open an episode where time alone made the set pressure of a valve unproven, and close it by its proof."""
    ledger = run.ledger
    if RULE not in ledger.catalogue.findings or PROCEDURE not in ledger.catalogue.procedures:
        return
    first_seen = surveyed_at(run)
    for record in ledger.records.values():
        if record.role.code == "safety_valve" and first_seen is not None:
            _add_episodes(ledger, record, run.snapshots[record.position.id], first_seen)


def _add_episodes(
    ledger: ReplayLedger, record: PositionRecord, snapshots: list[PositionSnapshot], first_seen: datetime
) -> None:
    """Add the episodes of one valve. Its first season is the one in which the boiler was surveyed."""
    open_: EpisodeCase | None = None
    for snapshot, since, end, law in _valve_spans(ledger, snapshots):
        clock = (
            due_only_at(ledger.evidence, snapshot, ledger.evidence.procedure_by_code(PROCEDURE), law)
            if snapshot.kind
            else None
        )
        if open_ is not None and since is not None and (clock is None or clock.at > since):
            open_.closed_at, open_ = since, None
        begin = max(clock.at, since or clock.at, first_seen) if clock else first_seen
        if open_ is None and clock is not None and (end is None or begin < end):
            open_ = _open_overdue_case(ledger, record, clock, begin)


def _valve_spans(
    ledger: ReplayLedger, snapshots: list[PositionSnapshot]
) -> Iterator[tuple[PositionSnapshot, datetime | None, datetime | None, LawInForce]]:
    """Yield what was known of the valve, from when until when, and the law in force, later terms included."""
    for snapshot, after in zip_longest(snapshots, snapshots[1:]):
        for since, until, law in ledger.evidence.laws_between(snapshot.at, after.at if after else None):
            yield snapshot, since, until, law


def _open_overdue_case(ledger: ReplayLedger, record: PositionRecord, clock: Clock, at: datetime) -> EpisodeCase:
    zone = ledger.evidence.zone
    sentence = (
        f"The set pressure of the {record.position.name} has not been proven since {local_day(clock.proved, zone)}."
    )
    case = begin_case(ledger, RULE, place=record, at=at, entry=None, sentence=sentence)
    case.by_time, case.later = True, [(_next_season(ledger.evidence.terms_at(at).season, at, zone), Level.URGENT)]
    return case


def _next_season(season: HeatingSeason | None, at: datetime, zone: str) -> datetime:
    """Return the start of the season after the first one seen; a year later where heat never stops."""
    day = day_of(at, zone)
    start = season.first_start_on_or_after(day + timedelta(days=1)) if season else add_months(day, 12)
    return day_start(start, zone)
