"""What a season start before the word *in service* answers: fresh, or older than fourteen days, or than ninety."""

from dataclasses import replace
from datetime import timedelta

import pytest

from fleet.rules.ledger.records import PositionRecord
from fleet.rules.replay.evidence_replay import replay_evidence
from fleet.rules.values import ServiceMode
from tests.rules.build import Boiler, at, ident, proof

INSTANT = timedelta(microseconds=1) / timedelta(days=1)


def back(days: float, *, kind: str = "season_start", who: str = "technician") -> PositionRecord:
    """The upper cutoff of a boiler laid up, served on day 0, and said to be in service so many days later."""
    boiler = Boiler().goes(-10, ServiceMode.LAID_UP_WET)
    boiler.visit(0, proof("upper", "flush"), who=who, kind=kind).goes(days, ServiceMode.IN_SERVICE)
    boiler.visits[0] = replace(boiler.visits[0], left_as="off_ready")  # else its own fire puts it in service
    return replay_evidence(boiler.evidence()).ledger.records[ident("upper")]


# days between: whether the flush is asked for again, whether it is due at the return
@pytest.mark.parametrize(
    ("days", "is_asked", "is_due"),
    [
        (1, False, False),
        (13.999, False, False),
        (14, False, False),
        (14 + INSTANT, False, True),
        (15, False, True),
        (90, False, True),
        (90 + INSTANT, True, False),
        (91, True, False),
    ],
)
def test_a_season_start_is_fresh_for_fourteen_days_and_counts_for_ninety(
    days: float, is_asked: bool, is_due: bool
) -> None:
    upper = back(days)
    assert ("return_to_service" in upper.touches) is is_asked
    assert upper.operator_due_at == (at(days) if is_due else None)


@pytest.mark.parametrize(
    ("kind", "who", "is_asked"),
    [
        ("season_start", "technician", False),
        ("season_start", "operator|technician", False),
        ("season_start", "operator", True),
        ("annual_service", "technician", True),
        ("follow_up", "technician", True),
        ("routine_check", "technician", True),
    ],
)
def test_only_a_technicians_season_start_answers_the_word_in_service(kind: str, who: str, is_asked: bool) -> None:
    assert ("return_to_service" in back(1, kind=kind, who=who).touches) is is_asked
