"""What the card tells a caretaker to do at once, and what can be told as wrong, in each language.

The catalogue's first acts are for who may work on a boiler: they tell of opening, cleaning and testing. A caretaker
does none of that. Every finding that holds a boiler has one of the few acts here.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

from fleet.catalog.field_words import read_words

ACTS_FILE, TROUBLES_FILE, RULES_FILE = "caretaker_acts.yaml", "caretaker_troubles.yaml", "caretaker_rules.yaml"


@dataclass(frozen=True, slots=True)
class CaretakerAct:
    """One thing to do at once, by language; `findings` are those it is for."""

    code: str
    en: str
    es: str
    findings: Sequence[str]

    def in_language(self, language: str) -> str:
        """Return its words."""
        return self.es if language == "es" else self.en


@dataclass(frozen=True, slots=True)
class ToldTrouble:
    """One thing that can be told as wrong: what is observed by it, its words, and the act it asks for at once.

    `is_vague` says that it needs words of the caretaker's own.
    """

    code: str
    observes: str
    en: str
    es: str
    act_code: str
    is_vague: bool

    def in_language(self, language: str) -> str:
        """Return its words."""
        return self.es if language == "es" else self.en

    @property
    def act(self) -> CaretakerAct | None:
        """What is done about it at once."""
        return next((act for act in caretaker_acts() if act.code == self.act_code), None)


@lru_cache(maxsize=1)
def caretaker_acts() -> tuple[CaretakerAct, ...]:
    """Return all acts, those about people in danger first."""
    rows = read_words(ACTS_FILE)
    return tuple(CaretakerAct(code, row["en"], row["es"], tuple(row.get("findings", ()))) for code, row in rows.items())


@lru_cache(maxsize=1)
def told_troubles() -> tuple[ToldTrouble, ...]:
    """Return all that can be told as wrong, the dangers first."""
    rows = read_words(TROUBLES_FILE)
    return tuple(
        ToldTrouble(
            code,
            row["observe"],
            en=row["en"],
            es=row["es"],
            act_code=row.get("act", ""),
            is_vague=bool(row.get("vague")),
        )
        for code, row in rows.items()
    )


def act_for_finding(finding: str) -> CaretakerAct | None:
    """Return what a caretaker does at once about a finding; None for one that holds no boiler."""
    return next((act for act in caretaker_acts() if finding in act.findings), None)


def acts_for_findings(findings: Iterable[str]) -> list[CaretakerAct]:
    """Return the acts for these findings, each once, those about people in danger first."""
    codes = set(findings)
    return [act for act in caretaker_acts() if codes & set(act.findings)]


@dataclass(frozen=True, slots=True)
class CaretakerRule:
    """One thing that a caretaker does or does not do, in one language: large, and what stands under it."""

    short: str
    more: str


def caretaker_rules(kind: str, language: str) -> list[CaretakerRule]:
    """Return what a caretaker does (`do`), does not do (`do_not`), or does in danger to people (`danger`)."""
    rows = read_words(RULES_FILE)[kind]
    return [CaretakerRule(row["short"][language], row["more"][language]) for row in rows]
