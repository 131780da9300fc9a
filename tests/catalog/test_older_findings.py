"""A release that was loaded before findings had their columns is read as it was judged then."""

from pathlib import Path

from fleet.catalog.content import read_folder
from fleet.catalog.parse import rebuild_catalogue
from fleet.catalog.rows import Faults
from tests.rules.finding_columns import EXPECTED, unexpected

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "catalogue"
BEFORE = {"code", "level", "fails", "title", "clears_by", "source"}


def stored_before() -> dict[str, object]:
    """What such a release keeps: the rows of its findings without the columns."""
    stored = read_folder(FOLDER, Faults()).as_json()
    rows = [{k: v for k, v in row.items() if k in BEFORE} for row in stored["findings.csv"]]
    return {**stored, "findings.csv": rows}


def test_the_findings_of_a_release_from_before_the_columns_decide_as_they_did() -> None:
    older = rebuild_catalogue(stored_before(), 1)
    told_apart = sorted(set().union(*EXPECTED.values()))
    assert [code for code in told_apart if list(unexpected(older, code))] == []
