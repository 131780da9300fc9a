"""No number stands on a source that leads nowhere: catalogue, calculator, and what is from memory named as such."""

from pathlib import Path
from typing import Any

import pytest

from fleet.catalog.citations import (
    SourceStanding,
    cited_numbers,
    count_by_standing,
    read_citations,
    words_for_readers,
    worst_standing,
)
from fleet.catalog.content import read_folder
from fleet.catalog.parse import read_release, rebuild_catalogue
from fleet.catalog.rows import Faults
from fleet.engineering.calculations import CALCULATIONS
from fleet.errors import Refused
from tests.catalog.conftest import SHIPPED

CATALOGUE = read_release(SHIPPED, 1)[1]
CONTENT = read_folder(SHIPPED, Faults())
CELLS = {
    row.cells[column]
    for rows in CONTENT.tables.values()
    for row in rows
    for column in ("source", "interval_source", "life_source")
    if row.cells.get(column)
}


def unresolved(sources: set[str]) -> list[str]:
    """The statements that lead nowhere."""
    citations = [c for source in sources for c in read_citations(source, CATALOGUE.sources)]
    return sorted(c.text for c in citations if c.standing is SourceStanding.UNRESOLVED)


def test_every_source_of_the_catalogue_leads_somewhere() -> None:
    assert unresolved(CELLS) == []


def test_every_source_of_the_calculator_leads_somewhere() -> None:
    assert unresolved({spec.source for spec in CALCULATIONS.values()}) == []


def test_nothing_is_told_from_memory_without_its_clause() -> None:
    texts = [*CELLS, *(s.accept for p in CATALOGUE.procedures.values() for s in p.readings.values())]
    texts += [text for spec in CALCULATIONS.values() for text in (spec.source, spec.formula, spec.caution)]
    assert [text for text in texts if "from memory" in text] == []


def test_nothing_for_low_pressure_rests_on_a_clause_for_high_pressure() -> None:
    high = {number for number, document in CATALOGUE.sources.items() if "HIGH-pressure" in document.scope}
    assert high == {"S18", "S28"}
    texts = CELLS | {spec.source for spec in CALCULATIONS.values()}
    cited = {number for text in texts for c in read_citations(text, CATALOGUE.sources) for number in c.numbers}
    assert cited & high == set()


@pytest.mark.parametrize(
    ("number", "words"),
    [
        ("S18", "HIGH-pressure"),
        ("S21", "Check list of one state"),
        ("S22", "CANCELLED"),
        ("S27", "over nine horsepower"),
        ("S50", "POWER boilers"),
        ("S33", "Vented gas appliances"),
    ],
)
def test_a_document_says_what_it_holds_for(number: str, words: str) -> None:
    assert words in CATALOGUE.sources[number].scope


def test_every_number_of_the_published_values_has_its_document() -> None:
    assert {f"S{number}" for number in range(1, 54)} <= CATALOGUE.sources.keys()


def test_every_number_has_a_source_of_its_own_and_most_are_verified() -> None:
    counts, numbers = count_by_standing(CATALOGUE), list(cited_numbers(CATALOGUE))
    assert (len(numbers), counts.total(), counts[SourceStanding.UNRESOLVED]) == (len(numbers), len(numbers), 0)
    assert counts[SourceStanding.UNVERIFIED] <= 15  # lower it when a clause was looked up; never raise it
    assert len({number.place for number in numbers}) == len(numbers)


@pytest.mark.parametrize(
    ("source", "standing"),
    [
        ("S29", SourceStanding.DOCUMENT),
        ("S29 for the way; common practice", SourceStanding.COMMON_PRACTICE),
        ("Our choice of method", SourceStanding.COMMON_PRACTICE),
        ("S29; not verified yet: HG-605", SourceStanding.UNVERIFIED),
        ("from memory: HG-605", SourceStanding.UNVERIFIED),
        ("60 psi from memory (HG-602)", SourceStanding.UNVERIFIED),
        ("from memory", SourceStanding.UNRESOLVED),
        ("S99", SourceStanding.UNRESOLVED),
        ("somebody said so", SourceStanding.UNRESOLVED),
        ("S29; somebody said so", SourceStanding.UNRESOLVED),
        ("", SourceStanding.UNRESOLVED),
    ],
)
def test_a_source_stands_as_its_worst_statement_does(source: str, standing: SourceStanding) -> None:
    assert worst_standing(source, CATALOGUE.sources) is standing


@pytest.mark.parametrize(
    ("stored", "read"),
    [
        ("from memory: HG-605 and CW-310", "not verified yet: HG-605 and CW-310"),
        ("60 psi from memory (HG-602)", "60 psi not verified yet: HG-602"),
        ("S22; ±2 psi from memory (HG-401.1)", "S22; ±2 psi not verified yet: HG-401.1"),
        ("from memory", "not verified yet"),
        ("S29", "S29"),
    ],
)
def test_an_older_source_from_memory_reads_not_verified_yet(stored: str, read: str) -> None:
    assert words_for_readers(stored) == read


def refused_cells(folder: Path, file: str, before: str, after: str) -> set[tuple[str, Any]]:
    """The codes and columns of the faults of a catalogue with one cell changed."""
    table = folder / file
    assert before in table.read_text()
    table.write_text(table.read_text().replace(before, after, 1))
    with pytest.raises(Refused) as refused:
        read_release(folder, 1)
    return {(fault.code, fault.at[2]) for fault in refused.value.faults}


@pytest.mark.parametrize(
    ("file", "before", "after", "fault"),
    [
        ("hazards.csv", "dry_firing,Dry firing,yes,S8", "dry_firing,Dry firing,yes,S98", ("unknown_source", "source")),
        (
            "hazards.csv",
            "dry_firing,Dry firing,yes,S8",
            "dry_firing,Dry firing,yes,hearsay",
            ("unknown_source", "source"),
        ),
        ("sources.csv", "S8,", "S8x,", ("unknown_source", "source")),
        ("sources.csv", "S9,", "S8,", ("duplicate", "number")),
        ("procedures.csv", ",S23,S23", ",S23,", ("bad_value", "interval_source")),
    ],
)
def test_a_source_that_leads_nowhere_is_refused_on_loading(
    folder: Path, file: str, before: str, after: str, fault: tuple[str, str]
) -> None:
    assert fault in refused_cells(folder, file, before, after)


def test_a_release_that_was_stored_before_the_table_of_sources_still_loads() -> None:
    stored = CONTENT.as_json()
    del stored["sources.csv"]
    stored["procedures.csv"] = [
        {k: v for k, v in row.items() if k != "interval_source"} for row in stored["procedures.csv"]
    ]
    stored["hazards.csv"] = [{**row, "source": "from memory"} for row in stored["hazards.csv"]]
    older = rebuild_catalogue(stored, 1)
    assert older.sources == {}
    assert older.procedures["flush"].interval_source == older.procedures["flush"].source
