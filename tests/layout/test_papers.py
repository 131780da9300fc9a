"""The papers name what is there: files, numbers of decisions, environment variables, keys of the scenario form."""

import re
from collections import Counter
from pathlib import Path

import pytest

from tests.layout.tree import ROOT, listed, tree_files
from tests.rules.scenarios.form import SCENARIO

PAPERS = [path for path in tree_files() if path.suffix == ".md"]
DECISIONS = [path for path in PAPERS if path.name == "DECISIONS.md"]
MOVES = "## Old path → new path"  # the left side of this table names what is gone
NAMED = re.compile(r"`((?:api|fleet|fixtures|templates|tests)/[\w./-]*)`")
BARE = re.compile(r"`([\w-]+\.(?:py|csv|html|js|css|typ|yaml))`")
NUMBERED = re.compile(r"^## ([A-Z]+-\d\d) \S", re.MULTILINE)
SCENARIOS = ROOT / "tests" / "rules" / "scenarios" / "README.md"
WRITTEN_BY_THE_READER = {"tests/rules/scenarios/cases/mine.yaml"}


def missing(text: str) -> list[str]:
    """Return the paths and file names of a paper that are not in the tree, the table of moves aside."""
    present, names = text.partition(MOVES)[0], {path.name for path in tree_files()}
    gone = [name for name in set(NAMED.findall(present)) - WRITTEN_BY_THE_READER if not (ROOT / name).exists()]
    return sorted([*gone, *(set(BARE.findall(present)) - names)])


@pytest.mark.parametrize("paper", PAPERS, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_every_path_and_every_link_of_a_paper_is_there(paper: Path) -> None:
    text = paper.read_text(encoding="utf-8")
    links = [link for link in re.findall(r"\]\(([^)#]+)\)", text) if "://" not in link]
    assert missing(text) + [link for link in links if not (paper.parent / link).exists()] == []


def test_a_path_that_is_gone_is_found() -> None:
    assert missing("`fleet/rules/judge.py`, `judge.py`, `fleet/rules/gone.py`, `gone.py`") == [
        "fleet/rules/gone.py",
        "gone.py",
    ]


def test_the_developers_paper_can_be_read_in_one_go() -> None:
    assert len((ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").splitlines()) <= 200


def test_each_decision_has_a_number_of_its_own_a_date_a_file_and_a_reason() -> None:
    numbers = Counter(number for path in DECISIONS for number in NUMBERED.findall(path.read_text(encoding="utf-8")))
    assert len(numbers) >= 99
    assert [number for number, count in numbers.items() if count > 1] == []
    faults = []
    for path in DECISIONS:
        for decision in re.split(r"^## ", path.read_text(encoding="utf-8"), flags=re.MULTILINE)[1:]:
            if not re.match(r".+\n\n20\d\d-\d\d-\d\d, held by `.+?\n\n.+?\n\nReason: ", decision, re.DOTALL):
                faults.append(f"{path.relative_to(ROOT)}: {decision.splitlines()[0]}")
    assert not faults, listed(faults)


def test_every_environment_variable_of_the_site_is_explained() -> None:
    used = {
        name
        for path in tree_files()
        if path.suffix == ".py" and path.is_relative_to(ROOT / "fleet")
        for name in re.findall(r'os\.environ\.get\("([A-Z_]+)"', path.read_text(encoding="utf-8"))
    }
    told = (ROOT / "fleet" / "management" / "OPERATING.md").read_text(encoding="utf-8")
    assert sorted(name for name in used if name not in told) == []


def test_every_key_of_a_scenario_is_explained() -> None:
    told = SCENARIOS.read_text(encoding="utf-8")
    assert sorted(key for key in SCENARIO if f"`{key}`" not in told) == []
