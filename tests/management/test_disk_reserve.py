"""The room kept in reserve is made where there is room, given up once, and made again; what changed is said once."""

import os
from pathlib import Path

import pytest

from fleet.management.embedded import disk_reserve
from fleet.management.embedded.disk_reserve import RESERVE_BYTES, DiskReserve
from fleet.management.embedded.folder import MB
from fleet.records.disk_room import ROOM_FOR_WRITES_BYTES


class WatchedDisk:
    """A reserve on a disk whose free bytes the test sets, and what it said."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.free, self.sentences = 0, list[str]()
        monkeypatch.setattr(disk_reserve, "free_bytes", lambda _: self.free)
        self.reserve = DiskReserve(folder, self.sentences.append)
        self.file = folder / "reserve"

    def look(self, free: int) -> list[str]:
        """Look at a disk with so many free bytes, and return what was said."""
        self.free = free
        self.sentences.clear()
        self.reserve.look_at_disk()
        return self.sentences


@pytest.fixture
def disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> WatchedDisk:
    return WatchedDisk(tmp_path, monkeypatch)


@pytest.mark.parametrize(
    ("free", "made"),
    [(0, False), (ROOM_FOR_WRITES_BYTES + RESERVE_BYTES - 1, False), (ROOM_FOR_WRITES_BYTES + RESERVE_BYTES, True)],
)
def test_the_reserve_is_made_where_it_does_not_itself_stop_the_writes(free: int, made: bool, disk: WatchedDisk) -> None:
    disk.look(free)
    assert disk.file.exists() is made


def test_the_reserve_takes_its_room_from_the_disk_and_is_read_by_nobody(disk: WatchedDisk) -> None:
    disk.look(10 * ROOM_FOR_WRITES_BYTES)
    status = disk.file.stat()
    assert (status.st_size, status.st_mode & 0o777) == (RESERVE_BYTES, 0o600)
    assert status.st_blocks * 512 >= RESERVE_BYTES


def test_a_reserve_that_finds_no_room_leaves_nothing(disk: WatchedDisk, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "posix_fallocate", fail)
    disk.look(10 * ROOM_FOR_WRITES_BYTES)
    assert not disk.file.exists()


def test_the_reserve_is_given_up_once_and_made_again_with_room(disk: WatchedDisk) -> None:
    disk.look(10 * ROOM_FOR_WRITES_BYTES)
    assert [disk.reserve.give_up(), disk.reserve.give_up()] == [True, False]
    assert not disk.file.exists()
    disk.look(RESERVE_BYTES)
    assert not disk.file.exists()
    disk.look(10 * ROOM_FOR_WRITES_BYTES)
    assert disk.file.exists()


def test_a_disk_that_fills_up_and_has_room_again_is_told_of_once_each(disk: WatchedDisk) -> None:
    assert disk.look(ROOM_FOR_WRITES_BYTES) == []
    assert disk.look(ROOM_FOR_WRITES_BYTES - 1)[0].endswith(
        "has only 63 MB left and 64 MB are needed: the site shows what it has and saves nothing until there is room."
    )
    assert disk.look(0) == []
    assert disk.look(ROOM_FOR_WRITES_BYTES)[0].endswith("has room again: the site saves again.")
    assert disk.look(10 * ROOM_FOR_WRITES_BYTES) == []


@pytest.mark.parametrize(("free", "is_full"), [(0, True), (MB - 1, True), (MB, False)])
def test_a_disk_without_room_for_a_line_of_a_log_is_full(free: int, is_full: bool, disk: WatchedDisk) -> None:
    disk.look(free)
    assert disk.reserve.is_disk_full() is is_full
