"""What a gauge read is in doubt: found wrong, blind behind its siphon, adjusted, or gone before anybody measured it."""

from datetime import datetime
from math import inf
from uuid import UUID

from fleet.rules.catalogue import FindingRule
from fleet.rules.ledger.asked import AskedCause
from fleet.rules.ledger.doubts import ReadingDoubt, doubt_passes
from fleet.rules.ledger.effects import GAUGE_CHECK
from fleet.rules.ledger.records import PositionRecord, ReplayLedger
from fleet.rules.values import EntryFact, as_number
from fleet.rules.vocabulary import Outcome

READ_BY_GAUGE = frozenset({"limit_trip", "limit_calibration", "operating_control_trip", "lever_lift", "three_cycles"})


def doubt_readings_of(ledger: ReplayLedger, rule: FindingRule, place: PositionRecord | None, entry: EntryFact) -> None:
    """Put in doubt what was proven by readings of a gauge found wrong, or blind behind its siphon, since a good check.

    However it was found: seen cold, compared with a test gauge, or plugged on the bench. A comparison says by how much;
    trips whose verdict so much cannot change stand.
    """
    if place is None or not rule.blinds_gauge:
        return
    if place.role.code == "gauge" or any(r.role.code == "gauge" for r in ledger.hanging_on(place)):
        difference = as_number(entry.readings.get("difference_psi"))
        error_psi = inf if difference is None else difference
        doubt = ReadingDoubt(READ_BY_GAUGE, _last_check(place), at=entry.at, entry=entry.id, error_psi=error_psi)
        doubt_passes(ledger, ledger.records.values(), doubt)


def doubt_known_wrong_gauge(ledger: ReplayLedger, record: PositionRecord, entry: EntryFact) -> None:
    """Put a pass in doubt that a gauge read which was known to be wrong, unless it was read by a test gauge."""
    if entry.code not in READ_BY_GAUGE or is_read_by_test_gauge(entry):
        return
    for gauge in ledger.records.values():
        if gauge.role.code == "gauge" and gauge.device and _is_known_wrong(ledger, gauge):
            error_psi = _newest_error_psi(ledger, gauge)
            doubt = ReadingDoubt(READ_BY_GAUGE, ledger.entry_order - 1, entry.at, entry.id, error_psi=error_psi)
            doubt_passes(ledger, [record], doubt)


def is_read_by_test_gauge(entry: EntryFact) -> bool:
    """Return whether a trip or lift was read by a test gauge: what becomes known of the boiler's does not touch it."""
    return entry.readings.get("read_by") == "test_gauge"


def _is_known_wrong(ledger: ReplayLedger, gauge: PositionRecord) -> bool:
    """Return whether a gauge was found wrong, or its siphon plugged and nothing was done about that yet."""
    of_siphons = [case for path in ledger.paths_of(gauge) for case in path.open_cases() if case.acted_at is None]
    return any(case.rule.blinds_gauge for case in (*gauge.open_cases(), *of_siphons))


def _newest_error_psi(ledger: ReplayLedger, gauge: PositionRecord) -> float:
    """Return by how much a gauge was last found to differ; unbounded where nobody measured it."""
    for trace in reversed(ledger.trail):
        difference = as_number(trace.entry.readings.get("difference_psi"))
        if trace.entry.code == GAUGE_CHECK and trace.entry.position == gauge.position.id and difference is not None:
            return difference
    return inf


def doubt_adjusted_gauge(ledger: ReplayLedger, record: PositionRecord, entry: EntryFact) -> None:
    """Put in doubt what a gauge read before it was adjusted, if nobody had measured by how much it was wrong."""
    if record.role.code == "gauge" and record.device and not _is_known_wrong(ledger, record):
        doubt = ReadingDoubt(READ_BY_GAUGE, _last_check(record), at=entry.at, entry=entry.id)
        doubt_passes(ledger, ledger.records.values(), doubt)


def _last_check(record: PositionRecord) -> int | None:
    """The last good check of what is in this place now; before it was fitted another one was read."""
    if record.checked is not None:
        return record.checked
    return record.fitted_order if record.fitted_at else None


def doubt_unmeasured_gauge(ledger: ReplayLedger, record: PositionRecord, at: datetime, entry: UUID | None) -> None:
    """Put in doubt what a gauge read that leaves its place while a discharge still asks whether it was right.

    One that was measured wrong since has put in doubt what so much can change.
    """
    discharges = [c for c in ledger.asked_causes.values() if c.needs_gauge_check and not c.gauge_checked]
    if record.device and record.role.code == "gauge" and any(not _is_measured(ledger, record, c) for c in discharges):
        doubt = ReadingDoubt(READ_BY_GAUGE, _last_check(record), at=at, entry=entry)
        doubt_passes(ledger, ledger.records.values(), doubt)


def _is_measured(ledger: ReplayLedger, gauge: PositionRecord, cause: AskedCause) -> bool:
    """Return whether the gauge was compared, and found wrong, since the discharge was seen."""
    return any(
        t.entry.code == GAUGE_CHECK and t.entry.position == gauge.position.id and t.outcome == Outcome.FAIL
        for t in ledger.trail[cause.order :]
    )
