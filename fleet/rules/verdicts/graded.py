"""What a grader answers."""

from dataclasses import dataclass
from uuid import UUID


@dataclass(frozen=True, slots=True)
class Graded:
    """`outcome` is pass, fail, inconclusive, not_a_test, not_done or noted; `faults` name finding rules and places."""

    outcome: str
    sentence: str
    grade: str = ""
    proves: str = ""
    limit: str = ""
    set_value: float | None = None
    question: str = ""
    faults: tuple[tuple[str, UUID], ...] = ()


def failed(sentence: str, *faults: tuple[str, UUID], limit: str = "", set_value: float | None = None) -> Graded:
    """A test that failed, with the rules that fire."""
    return Graded("fail", sentence, "failed", limit=limit, set_value=set_value, faults=faults)
