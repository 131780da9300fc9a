"""What single stories must bring word for word: `said_in_stories.yaml` names the story and the texts."""

from functools import cache
from pathlib import Path

import pytest
import yaml

from tests.rules.approved import CASES, judged, sentences
from tests.rules.scenarios.form import Scenario, read

SAID: dict[str, dict[str, list[dict[str, str]]]] = yaml.safe_load(
    (Path(__file__).parent / "said_in_stories.yaml").read_text(encoding="utf-8")
)
STORIES = [(file, name) for file, stories in SAID.items() for name in stories]


@cache
def stories_of(file: str) -> dict[str, Scenario]:
    path = next(path for path in CASES if path.stem == file)
    return {scenario.name: scenario for scenario in read(path)}


@pytest.mark.parametrize(("file", "name"), STORIES, ids=[name for _, name in STORIES])
def test_a_story_is_told_in_these_words(file: str, name: str) -> None:
    told = set(sentences(judged(stories_of(file)[name])))
    wanted = [f"{kind}: {text}" for line in SAID[file][name] for kind, text in line.items()]
    assert [text for text in wanted if text not in told] == []
