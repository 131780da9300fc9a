"""Verdicts of formulas: a level, and the reasons for it in sentences."""

from collections.abc import Iterable
from dataclasses import dataclass

LEVELS = ("hold", "urgent", "routine", "inconclusive", "good")


@dataclass(frozen=True, slots=True)
class EngineeringReason:
    """One reason: a stable code, its level (of LEVELS) and a sentence."""

    code: str
    level: str
    sentence: str


@dataclass(frozen=True, slots=True)
class EngineeringJudgement:
    """The worst level among the reasons. It is *good* only where everything could be compared.

    `unknown` names what was not known and so was not compared.
    """

    verdict: str
    reasons: tuple[EngineeringReason, ...] = ()
    unknown: tuple[str, ...] = ()

    @property
    def sentences(self) -> tuple[str, ...]:
        """The reasons as sentences, worst first."""
        return tuple(reason.sentence for reason in self.reasons)


def judge_reasons(reasons: Iterable[EngineeringReason], unknown: Iterable[str] = ()) -> EngineeringJudgement:
    """Return the verdict of all `reasons`, worst first; with none it is *good*, or *unknown* where something is."""
    sorted_reasons = tuple(sorted(reasons, key=lambda reason: LEVELS.index(reason.level)))
    missing = tuple(unknown)
    if sorted_reasons and sorted_reasons[0].level != "good":
        return EngineeringJudgement(sorted_reasons[0].level, sorted_reasons, missing)
    return EngineeringJudgement("unknown" if missing else "good", sorted_reasons, missing)
