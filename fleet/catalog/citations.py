"""What a source cell cites: documents by number, common practice, or a clause from memory that is not verified yet.

A cell holds statements with semicolons between them. Each must say one of the three, so that no number stands on a
source that leads nowhere.
"""

import re
from collections import Counter
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from enum import StrEnum

from fleet.rules.catalogue import Catalogue, ReadingSpec

DOCUMENT_NUMBER = re.compile(r"\b[SD]\d+\b")
COMMON_PRACTICE, OUR_CHOICE = "common practice", "our choice"
UNVERIFIED = "not verified yet"
# Releases loaded before the table of sources say it so.
FROM_MEMORY = re.compile(r"\bfrom memory(?:: ?| \()?([^;)]*)\)?")


class SourceStanding(StrEnum):
    """How far a statement can be trusted, worst last."""

    DOCUMENT = "document"
    COMMON_PRACTICE = "common_practice"
    UNVERIFIED = "unverified"
    UNRESOLVED = "unresolved"


@dataclass(frozen=True, slots=True)
class Citation:
    """One statement of a source cell, with the numbers of the documents it names."""

    text: str
    standing: SourceStanding
    numbers: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class CitedNumber:
    """One number of the catalogue with its own source: where it stands, what it is, and what it cites."""

    place: str
    value: str
    source: str


def words_for_readers(source: str) -> str:
    """Return a source as people read it: what is from memory is *not verified yet*, with the clause remembered."""
    return FROM_MEMORY.sub(lambda match: f"{UNVERIFIED}: {match[1].strip()}".rstrip(": "), source)


def read_citations(source: str, known_numbers: Collection[str]) -> list[Citation]:
    """Return the statements of a source cell in their order; one that leads nowhere is *unresolved*."""
    statements = [text.strip() for text in words_for_readers(source).split(";")]
    return [_read_statement(text, known_numbers) for text in statements if text]


def worst_standing(source: str, known_numbers: Collection[str]) -> SourceStanding:
    """Return the worst standing among the statements of a source; without one it is unresolved."""
    order = list(SourceStanding)
    standings = [citation.standing for citation in read_citations(source, known_numbers)]
    return max(standings, key=order.index, default=SourceStanding.UNRESOLVED)


def _read_statement(text: str, known_numbers: Collection[str]) -> Citation:
    numbers = tuple(DOCUMENT_NUMBER.findall(text))
    if any(number not in known_numbers for number in numbers):
        return Citation(text, SourceStanding.UNRESOLVED, numbers)
    if UNVERIFIED in text:
        return Citation(text, SourceStanding.UNVERIFIED if _names_clause(text) else SourceStanding.UNRESOLVED, numbers)
    if numbers:
        return Citation(text, SourceStanding.DOCUMENT, numbers)
    is_practice = COMMON_PRACTICE in text.lower() or OUR_CHOICE in text.lower()
    return Citation(text, SourceStanding.COMMON_PRACTICE if is_practice else SourceStanding.UNRESOLVED)


def _names_clause(text: str) -> bool:
    """Return whether a statement says which clause is to be verified."""
    return len(text.partition(UNVERIFIED)[2].strip(" :")) > 1


def cited_numbers(catalogue: Catalogue) -> Iterator[CitedNumber]:
    """Yield every number of the catalogue with its own source.

    Years that a kind is kept, intervals with their grace, working times, limits of readings, numbers in findings and in
    what makes a role needed, windows of contradictions. Grace and working time are common practice throughout.
    """
    for kind in catalogue.kinds.values():
        if kind.life_years is not None:
            yield CitedNumber(f"{kind.code} life", f"{kind.life_years} years", kind.life_source)
    for procedure in catalogue.procedures.values():
        yield CitedNumber(f"{procedure.code} minutes", f"{procedure.minutes} min", COMMON_PRACTICE)
        if procedure.interval is not None:
            yield CitedNumber(f"{procedure.code} interval", str(procedure.interval), procedure.interval_source)
            yield CitedNumber(f"{procedure.code} grace", f"{procedure.grace_days} days", COMMON_PRACTICE)
        for reading in procedure.readings.values():
            if _has_limit(reading):
                yield CitedNumber(f"{procedure.code} {reading.name}", reading.accept, reading.source)
    for variant in catalogue.variants.values():
        yield CitedNumber(f"{variant.procedure} {variant.name}", str(variant.interval), variant.source)
        yield CitedNumber(f"{variant.procedure} {variant.name} grace", f"{variant.grace_days} days", COMMON_PRACTICE)
    for rule in catalogue.findings.values():
        if any(character.isdigit() for character in rule.title):
            yield CitedNumber(rule.code, rule.title, rule.source)
    for role in catalogue.needed_roles:
        bounds = [f"{key} {word}" for key, words in role.conditions for word in words if word.isdigit()]
        if bounds:
            yield CitedNumber(f"needed role {role.code}", ", ".join(bounds), role.source)
    for pair in catalogue.contradictions:
        yield CitedNumber(f"{pair.first} {pair.second}", f"{pair.window_minutes} min", pair.source)


def _has_limit(reading: ReadingSpec) -> bool:
    return reading.type == "number" and any(character.isdigit() for character in reading.accept)


def list_unverified(catalogue: Catalogue) -> list[CitedNumber]:
    """Return the numbers of the catalogue that rest on a clause nobody has seen yet."""
    unverified = SourceStanding.UNVERIFIED
    return [n for n in cited_numbers(catalogue) if worst_standing(n.source, catalogue.sources) is unverified]


def count_by_standing(catalogue: Catalogue) -> Counter[SourceStanding]:
    """Return how many numbers of the catalogue rest on what, each by its worst statement."""
    return Counter(worst_standing(cited.source, catalogue.sources) for cited in cited_numbers(catalogue))
