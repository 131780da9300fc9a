"""Root relies on no file or folder that somebody else can change, up to the top."""

import os
from pathlib import Path

import pytest

from fleet.management.embedded.trusted_paths import first_untrusted, untrusted_part
from tests.servers import need

NOBODY = 65534


@pytest.fixture
def own(tmp_path: Path) -> Path:
    need("the rights of root", os.geteuid() == 0)
    folder = tmp_path / "a" / "b"
    folder.mkdir(parents=True)
    return folder


def test_what_is_roots_up_to_the_top_is_trusted(own: Path) -> None:
    assert untrusted_part(own) is None


@pytest.mark.parametrize("part", ["a", "a/b"])
@pytest.mark.parametrize(
    ("owner", "mode", "trusted"), [(0, 0o777, False), (0, 0o775, False), (NOBODY, 0o755, False), (0, 0o1777, True)]
)
def test_a_part_that_others_can_change_is_named(
    own: Path, tmp_path: Path, part: str, owner: int, mode: int, trusted: bool
) -> None:
    os.chown(tmp_path / part, owner, 0)
    (tmp_path / part).chmod(mode)
    assert untrusted_part(own) == (None if trusted else tmp_path / part)
    assert first_untrusted([Path("/"), own]) == untrusted_part(own)


def test_a_link_is_followed_to_what_it_names(own: Path, tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to(own)
    os.chown(own, NOBODY, 0)
    assert untrusted_part(tmp_path / "link") == own
