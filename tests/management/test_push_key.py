"""The key by which push services know the site is made once, with the other keys of the data folder."""

import json
from pathlib import Path

from fleet.management.embedded.folder import open_folder
from fleet.notices.channels.settings import read_channel_settings


def test_the_push_key_is_made_once_and_good_enough(home: Path) -> None:
    folder = open_folder(home / "data", "test")
    key = folder.load_keys()["push"]
    assert folder.load_keys()["push"] == key
    assert read_channel_settings({"GAUGEGLASS_PUSH_KEY": key}).push is not None


def test_a_folder_of_an_earlier_version_gets_one_and_keeps_its_other_keys(home: Path) -> None:
    folder = open_folder(home / "data", "test")
    before = folder.load_keys()
    path = folder.path / "keys.json"
    path.write_text(json.dumps({name: key for name, key in before.items() if name != "push"}))
    after = folder.load_keys()
    assert after["push"] not in ("", before["push"])
    assert {**after, "push": ""} == {**before, "push": ""}
