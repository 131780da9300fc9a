"""What a gauge read is in doubt: found wrong, blind behind its siphon, adjusted, or gone before anybody measured it."""

from datetime import datetime
from math import inf
from uuid import UUID

from fleet.engineering.last_places import compare
from fleet.rules.ledger.asked import AskedCause
from fleet.rules.ledger.doubts import ReadingDoubt, doubt_passes
from fleet.rules.ledger.effects import GAUGE_CHECK
from fleet.rules.ledger.episodes import EpisodeCase
from fleet.rules.ledger.records import PositionRecord, ReplayLedger
from fleet.rules.values import EntryFact, as_number
from fleet.rules.vocabulary import Outcome

READ_BY_GAUGE = frozenset({"limit_trip", "limit_calibration", "operating_control_trip", "lever_lift", "three_cycles"})
ADJUSTED_UNMEASURED = "the gauge it was read by was adjusted before anybody compared it"
GONE_UNMEASURED = "the gauge it was read by left its place after a discharge before anybody compared it"


def doubt_readings_of(ledger: ReplayLedger, case: EpisodeCase, place: PositionRecord | None, entry: EntryFact) -> None:
    """Put in doubt what was proven by readings of a gauge found wrong, or blind behind its siphon, since a good check.

    However it was found: seen cold, compared with a test gauge, or plugged on the bench. A comparison says by how much;
    trips whose verdict so much cannot change stand. The episode keeps it: until it is closed the gauge is known wrong.
    """
    if place is None or not case.rule.blinds_gauge:
        return
    if place.role.code == "gauge" or any(r.role.code == "gauge" for r in ledger.hanging_on(place)):
        difference = as_number(entry.readings.get("difference_psi"))
        error_psi = inf if difference is None else difference
        case.gauge_error_psi = max(case.gauge_error_psi, error_psi)
        doubt = ReadingDoubt(READ_BY_GAUGE, _last_check(place), at=entry.at, entry=entry.id, error_psi=error_psi)
        doubt_passes(ledger, ledger.records.values(), doubt)


def name_known_wrong_gauge(ledger: ReplayLedger, entry: EntryFact, tolerates_psi: float) -> str:
    """Return the gauge that read this test, was known to be wrong then, and by enough to change it; "" if none."""
    if entry.code not in READ_BY_GAUGE or is_read_by_test_gauge(entry):
        return ""
    gauges = [r for r in ledger.records.values() if r.role.code == "gauge" and r.device]
    wrong = [gauge for gauge in gauges if compare(_known_error_psi(ledger, gauge), tolerates_psi, "psi") > 0]
    return wrong[0].position.name if wrong else ""


def is_read_by_test_gauge(entry: EntryFact) -> bool:
    """Return whether a trip or lift was read by a test gauge: what becomes known of the boiler's does not touch it."""
    return entry.readings.get("read_by") == "test_gauge"


def _known_error_psi(ledger: ReplayLedger, gauge: PositionRecord) -> float:
    """Return by how much a gauge is known to be wrong: found so, or its siphon plugged and nothing done about that yet.

    What a former gauge was found at says nothing of the one that replaced it; its own comparison does.
    """
    of_siphons = [case for path in ledger.paths_of(gauge) for case in path.open_cases() if case.acted_at is None]
    cases = [*(case for case in gauge.open_cases() if not case.replaced), *of_siphons]
    return max((case.gauge_error_psi for case in cases if case.rule.blinds_gauge), default=0.0)


def doubt_adjusted_gauge(ledger: ReplayLedger, record: PositionRecord, entry: EntryFact) -> None:
    """Put in doubt what a gauge read before it was adjusted, if nobody had measured by how much it was wrong."""
    if record.role.code == "gauge" and record.device and not _known_error_psi(ledger, record):
        doubt = ReadingDoubt(READ_BY_GAUGE, _last_check(record), entry.at, entry.id, why=ADJUSTED_UNMEASURED)
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
        doubt = ReadingDoubt(READ_BY_GAUGE, _last_check(record), at=at, entry=entry, why=GONE_UNMEASURED)
        doubt_passes(ledger, ledger.records.values(), doubt)


def _is_measured(ledger: ReplayLedger, gauge: PositionRecord, cause: AskedCause) -> bool:
    """Return whether the gauge was compared, and found wrong, since the discharge was seen."""
    return any(
        t.entry.code == GAUGE_CHECK and t.entry.position == gauge.position.id and t.outcome == Outcome.FAIL
        for t in ledger.trail[cause.order :]
    )
