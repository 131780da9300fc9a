"""A safety valve whose set pressure is not proven: routine in the first season it is seen, urgent after."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from itertools import zip_longest

from fleet.calendar import Season, add_months, day_of, day_start
from fleet.rules.boundaries import surveyed_at
from fleet.rules.clocks import Clock, due_only_at
from fleet.rules.effects import begin_case
from fleet.rules.finding_codes import FindingCode
from fleet.rules.ledger import Case, Ledger, Record, Snapshot
from fleet.rules.replay import Replay
from fleet.rules.values import Law, Level
from fleet.rules.wording import on

RULE, PROCEDURE = FindingCode.SET_PRESSURE_UNPROVEN, "pop_test"


def add_cases(run: Replay) -> None:
    """Open an episode wherever time alone made the set pressure of a valve unproven, and close it by its proof."""
    ledger = run.ledger
    if RULE not in ledger.catalogue.findings or PROCEDURE not in ledger.catalogue.procedures:
        return
    seen = surveyed_at(run)
    for record in ledger.records.values():
        if record.role.code == "safety_valve" and seen is not None:
            _episodes(ledger, record, run.snapshots[record.position.id], seen)


def _episodes(ledger: Ledger, record: Record, snapshots: list[Snapshot], seen: datetime) -> None:
    """Its first season is the one in which somebody qualified first saw the boiler; before that nothing is known."""
    open_: Case | None = None
    for here, since, end, law in _spans(ledger, snapshots):
        clock = due_only_at(ledger.evidence, here, ledger.evidence.procedure(PROCEDURE), law) if here.kind else None
        if open_ is not None and since is not None and (clock is None or clock.at > since):
            open_.closed_at, open_ = since, None
        begin = max(clock.at, since or clock.at, seen) if clock else seen
        if open_ is None and clock is not None and (end is None or begin < end):
            open_ = _open(ledger, record, clock, begin)


def _spans(
    ledger: Ledger, snapshots: list[Snapshot]
) -> Iterator[tuple[Snapshot, datetime | None, datetime | None, Law]]:
    """What was known of the valve, from when until when, and the law it was due by: terms of a later day count too."""
    for here, after in zip_longest(snapshots, snapshots[1:]):
        for since, until, law in ledger.evidence.laws_between(here.at, after.at if after else None):
            yield here, since, until, law


def _open(ledger: Ledger, record: Record, clock: Clock, at: datetime) -> Case:
    zone = ledger.evidence.zone
    sentence = f"The set pressure of the {record.position.name} has not been proven since {on(clock.proved, zone)}."
    case = begin_case(ledger, RULE, record, at, None, sentence)
    case.by_time, case.later = True, [(_next_season(ledger.evidence.terms_at(at).season, at, zone), Level.URGENT)]
    return case


def _next_season(season: Season | None, at: datetime, zone: str) -> datetime:
    """The start of the season after the one in which it is first seen; a year later where heat never stops."""
    day = day_of(at, zone)
    start = season.first_start_on_or_after(day + timedelta(days=1)) if season else add_months(day, 12)
    return day_start(start, zone)
