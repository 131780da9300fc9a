"""Findings that rest on something else than one test: something seen, a history of entries, or data alone."""

from fleet.rules.finding_codes import FindingCode
from fleet.rules.findings.data import DataFault, wrong_by_data
from fleet.rules.findings.fire_side import JOINED_FINDINGS
from fleet.rules.findings.gauge_doubts import (
    doubt_adjusted_gauge,
    doubt_readings_of,
    doubt_unmeasured_gauge,
    is_read_by_test_gauge,
    name_known_wrong_gauge,
)
from fleet.rules.findings.history import find_in_history
from fleet.rules.findings.jumpers import close_unplaced_jumpers, find_left_jumpers, note_jumper
from fleet.rules.findings.lockouts import excuse_searched_lockouts
from fleet.rules.findings.locks import doubt_of_lock, find_left_under_lock, note_lock
from fleet.rules.findings.observations import OBSERVED, find_by_observation

__all__ = [
    "JOINED_FINDINGS",
    "OBSERVED",
    "DataFault",
    "FindingCode",
    "close_unplaced_jumpers",
    "doubt_adjusted_gauge",
    "doubt_of_lock",
    "doubt_readings_of",
    "doubt_unmeasured_gauge",
    "excuse_searched_lockouts",
    "find_by_observation",
    "find_in_history",
    "find_left_jumpers",
    "find_left_under_lock",
    "is_read_by_test_gauge",
    "name_known_wrong_gauge",
    "note_jumper",
    "note_lock",
    "wrong_by_data",
]
