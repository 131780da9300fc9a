"""Every cell that says what a finding is decides something, and a cell that changes unseen is seen."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from fleet.catalog.check import check_catalogue
from fleet.catalog.content import read_folder
from fleet.catalog.rows import Faults
from fleet.rules.catalogue import Catalogue, FindingRule
from tests.rules.build import catalogue
from tests.rules.finding_columns import unexpected

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "catalogue"
FLAGS = (
    "needs_cause",
    "needs_manager",
    "needs_work",
    "closes_by_readings",
    "tested_in_place",
    "closes_unneeded",
    "recurs",
    "blinds_gauge",
)
JOINS = ("", "air_or_vent", "flue_gas", "soot")


@pytest.mark.parametrize("code", sorted(catalogue().findings))
def test_the_columns_of_a_finding_decide_what_is_expected_of_it(code: str) -> None:
    assert list(unexpected(catalogue(), code)) == []


def flips(rule: FindingRule) -> Iterator[tuple[str, FindingRule]]:
    """Yield each cell of a row with another value, by name."""
    for column in FLAGS:
        yield column, replace(rule, **{column: not getattr(rule, column)})
    for value in JOINS:
        if value != rule.joins:
            yield f"joins={value or 'nothing'}", replace(rule, joins=value)


def is_refused(changed: Catalogue) -> bool:
    """Whether loading a catalogue with this cell fails."""
    faults = Faults()
    check_catalogue(read_folder(FOLDER, faults), changed, faults)
    return bool(faults.noted_faults)


@pytest.mark.flips
@pytest.mark.parametrize("code", sorted(catalogue().findings))
def test_each_cell_of_a_finding_that_changes_makes_a_story_end_otherwise(code: str) -> None:
    findings, unseen = catalogue().findings, []
    for column, rule in flips(findings[code]):
        changed = replace(catalogue(), findings={**findings, code: rule})
        if not next(unexpected(changed, code), "") and not is_refused(changed):
            unseen.append(column)
    assert unseen == []
