"""Findings that rest on something else than one test: something seen, a history of entries, or data alone."""

from fleet.rules.finding_codes import FindingCode
from fleet.rules.findings.data import Wrong, wrong_by_data
from fleet.rules.findings.history import notice
from fleet.rules.findings.observations import OBSERVED, observe
from fleet.rules.findings.pressure_side import accuse

__all__ = ["OBSERVED", "FindingCode", "Wrong", "accuse", "notice", "observe", "wrong_by_data"]
