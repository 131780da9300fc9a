"""A failed test is said in clauses, never in the cells of a table."""

import csv
from pathlib import Path

import pytest

from fleet.rules.verdicts.reading_phrases import CLAUSES, VALUE_CLAUSES, say_reading_against

ROWS = [
    row
    for row in csv.DictReader(Path("fixtures/catalogue/readings.csv").read_text(encoding="utf-8").splitlines())
    if row["rule"]
]
YES_OR_NO = {row["name"] for row in ROWS if row["type"] == "bool"}


def test_every_reading_that_a_table_judges_has_its_clause() -> None:
    assert set(CLAUSES) == YES_OR_NO
    assert {row["name"] for row in ROWS if row["type"] != "bool"} == set(VALUE_CLAUSES)


@pytest.mark.parametrize("name", sorted(YES_OR_NO))
def test_a_clause_speaks_of_one_answer_only(name: str) -> None:
    assert len({row["rule"] for row in ROWS if row["name"] == name}) == 1


@pytest.mark.parametrize(
    ("name", "value", "accept", "is_yes_or_no", "clause"),
    [
        ("burner_stopped", "no", "yes", True, "the burner did not stop"),
        ("bubbles", "yes", "no", True, "bubbles showed"),
        ("difference_psi", "8 psi", "at most 1 psi", False, "it differed by 8 psi (at most 1 psi is accepted)"),
        (
            "opens_psi",
            "19 psi",
            "within 2 psi of its set pressure (HG-401.1)",
            False,
            "it opened at 19 psi; accepted is within 2 psi of its set pressure (HG-401.1)",
        ),
        ("something_new", "no", "yes", True, "something new no (yes is accepted)"),
    ],
)
def test_what_was_read_is_said(name: str, value: str, accept: str, is_yes_or_no: bool, clause: str) -> None:
    assert say_reading_against(name, value, accept, is_yes_or_no=is_yes_or_no) == clause
