"""What a grader answers."""

from dataclasses import dataclass
from uuid import UUID

from fleet.rules.ledger.episodes import CalibrationNeed
from fleet.rules.vocabulary import Outcome


@dataclass(frozen=True, slots=True)
class GradedTest:
    """`outcome` is pass, fail, inconclusive, not_a_test, not_done or noted; `faults` name finding rules and places.

    `reading` names the one whose limit decided, where that is not the usual one of its grader: its source is shown.
    """

    outcome: Outcome
    sentence: str
    grade: str = ""
    proves: str = ""
    limit: str = ""
    set_value: float | None = None
    question: str = ""
    faults: tuple[tuple[str, UUID], ...] = ()
    proves_too: tuple[str, ...] = ()  # procedures that this pass stands for as well
    leaves_open: frozenset[str] = frozenset()  # rules of whose findings this pass says nothing
    tolerates_psi: float = 0.0  # how wrong its gauge may be before the verdict could be another one
    calibration: CalibrationNeed | None = None  # what this pass says only as far as a calibration carries it
    reading: str = ""
    relayed_from: tuple[UUID, ...] = ()  # operators on whose word alone, told to the poster, it counts


def failed_test(
    sentence: str, *faults: tuple[str, UUID], limit: str = "", set_value: float | None = None
) -> GradedTest:
    """Return a failed test with the rules that fire."""
    return GradedTest(Outcome.FAIL, sentence, "failed", limit=limit, set_value=set_value, faults=faults)
