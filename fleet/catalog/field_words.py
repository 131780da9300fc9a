"""What the visit sheet asks and the words of its answers, in each language it is offered in.

These words are no part of a release: they judge nothing. Every reading and choice of the shipped catalogue has its
words in every language; a reading of a release that this version does not ship is asked by its name.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import yaml
from django.conf import settings

from fleet.rules.catalogue import ProcedureSpec, ReadingSpec

LANGUAGES = ("en", "es")
UNREAD_LANGUAGES = frozenset({"es"})  # not yet read by a native speaker of the trade
LOWER_CUTOFF = "lower_cutoff"  # what it trips must stay out until it is reset by hand
_YES_NO = {"en": ("YES", "NO"), "es": ("SÍ", "NO")}


@dataclass(frozen=True, slots=True)
class Question:
    """A question and the words of yes and no; both are empty for a number and for a choice."""

    ask: str
    yes: str = ""
    no: str = ""


def reading_question(procedure: str, spec: ReadingSpec, language: str) -> Question:
    """Return what is asked for one reading of a procedure."""
    table = read_words("readings.yaml")
    words = table.get(f"{procedure}.{spec.name}") or table.get(spec.name)
    if words:
        return Question(*words[language])
    name = spec.name.replace("_", " ").capitalize()
    return Question(name, *_YES_NO[language]) if spec.type == "bool" else Question(name)


def outcome_question(procedure: ProcedureSpec, language: str) -> Question | None:
    """Return what is asked first of a test that only measures: whether the device acted. None for all others."""
    words = read_words("outcomes.yaml").get(procedure.code)
    return Question(*words[language]) if words else None


def first_finding(procedure: ProcedureSpec, reading: ReadingSpec | None) -> str:
    """Return the code of the finding that an answer brings which is not as a pass needs it; None is the first question.

    What the table of words does not name is the reading's own finding, else the procedure's, else that it failed. A
    condition of the test, and a number without a limit of its own, bring none.
    """
    name = f"{procedure.code}.{reading.name}" if reading else procedure.code
    named = read_words("first_findings.yaml").get(name)
    if named or reading is None:
        return str(named or "test_failed")
    can_fail = reading.rule is not None and reading.otherwise == "fail"
    return (reading.finding or procedure.fails_as or "test_failed") if can_fail else ""


def choice_words(reading: str, code: str, language: str) -> str:
    """Return the words of one answer of a choice."""
    table = read_words("choices.yaml")
    words = table.get(f"{reading}.{code}") or table.get(code)
    return str(words[language]) if words else code.replace("_", " ").upper()


def catalogue_text(section: str, code: str, english: str, language: str) -> str:
    """Return a text of the catalogue in a language; the English one where that language has none."""
    if language == "en":
        return english
    return str(read_words(f"catalogue_{language}.yaml").get(section, {}).get(code, english))


def procedure_steps(procedure: ProcedureSpec, language: str) -> Sequence[str]:
    """Return how a procedure is done, step by step; in English where a language does not have exactly these steps."""
    if language == "en":
        return procedure.steps
    steps: Sequence[str] = read_words(f"catalogue_{language}.yaml").get("steps", {}).get(procedure.code, ())
    return steps if len(steps) == len(procedure.steps) else procedure.steps


def roles_that_need(spec: ReadingSpec) -> Sequence[str]:
    """Return the roles on which an optional reading is needed all the same: there a pass needs a yes."""
    return (LOWER_CUTOFF,) if spec.name == "locked_out" and not spec.required else ()


def expected_answers(spec: ReadingSpec) -> Sequence[str]:
    """Return the answers that a pass needs of a yes-or-no or a choice: "yes", "no" or codes; empty for any.

    From its rule where it has one, else from what is accepted in words, with which each such reading begins.
    """
    if spec.rule is not None and spec.rule.words:
        return spec.rule.words
    first_words = spec.accept.partition(":")[0].partition(";")[0].replace(",", " ").split()
    if spec.type == "bool":
        return (first_words[0],) if first_words and first_words[0] in ("yes", "no") and len(first_words) == 1 else ()
    return tuple(c for c in spec.choices if c in first_words)


def outcome_otherwise(spec: ReadingSpec) -> str:
    """Return what a test is where this reading is not as a pass needs it: fail, inconclusive or not_a_test."""
    is_condition = spec.rule is None and spec.name == "burner_firing"
    return "not_a_test" if is_condition else spec.otherwise


@lru_cache(maxsize=16)
def read_words(name: str) -> Mapping[str, Any]:
    """Return one table of words: by code: the words by language, or the code of a finding."""
    with (settings.ROOT / "fixtures" / "words" / name).open(encoding="utf-8") as file:
        return dict(yaml.safe_load(file))
