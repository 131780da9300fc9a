"""A signing key from before keys had to be long is replaced at a start, which says so in one sentence."""

import json
from pathlib import Path

import pytest

from fleet.deployment import MIN_KEY_LENGTH
from fleet.management.embedded.folder import Folder, open_folder
from tests.management.machine import CLEAN, site

SENTENCE = "The key that signs sessions had fewer than 50 characters and was replaced: everybody has to sign in again"


@pytest.fixture
def folder(home: Path) -> Folder:
    return open_folder(home / "data", "test")


def write_key(data: Path, length: int) -> None:
    path = data / "keys.json"
    path.write_text(json.dumps({**json.loads(path.read_text()), "secret_key": ("abcdefghij" * 9)[:length]}))


@pytest.mark.parametrize(("length", "is_replaced"), [(43, True), (MIN_KEY_LENGTH - 1, True), (MIN_KEY_LENGTH, False)])
def test_only_a_key_that_is_too_short_is_replaced_once(
    folder: Folder, monkeypatch: pytest.MonkeyPatch, length: int, is_replaced: bool
) -> None:
    monkeypatch.delenv("GAUGEGLASS_SECRET_KEY", raising=False)
    before = folder.load_keys()
    write_key(folder.path, length)
    assert (SENTENCE in folder.renew_short_key()) is is_replaced
    assert (len(folder.load_keys()["secret_key"]) == length) is not is_replaced
    assert {**folder.load_keys(), "secret_key": ""} == {**before, "secret_key": ""}
    assert folder.renew_short_key() == ""


def test_nothing_is_said_of_a_new_folder_or_where_the_key_is_given(
    folder: Folder, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert folder.renew_short_key() == ""
    write_key(folder.path, 43)
    monkeypatch.setenv("GAUGEGLASS_SECRET_KEY", "x" * MIN_KEY_LENGTH)
    assert folder.renew_short_key() == ""


def test_the_start_says_so(home: Path) -> None:
    with site(data=home / "data", env=CLEAN) as first:
        assert first.opened()
        assert SENTENCE not in first.output
    write_key(home / "data", 43)
    with site(data=home / "data", env=CLEAN) as again:
        assert again.opened()
        assert again.output.count(SENTENCE) == 1
        assert len(again.told["secret_key"]) > MIN_KEY_LENGTH
