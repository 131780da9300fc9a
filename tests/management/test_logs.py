"""A log is set aside once it is large, is believed from the last start on, and commands no terminal."""

import shutil
from pathlib import Path

import pytest

from fleet.management.embedded.folder import MAX_LOG_BYTES, Folder
from fleet.management.embedded.machine_errors import error_from_log, read_tail, reports_full_disk
from fleet.management.embedded.site_accounts import choose_accounts


def test_a_large_log_is_set_aside_and_its_writer_goes_on_in_the_emptied_one(tmp_path: Path) -> None:
    (tmp_path / "logs").mkdir()
    folder = Folder(tmp_path, choose_accounts("test"))
    with folder.log_path("web").open("ab", buffering=0) as child:
        child.write(b"x" * (MAX_LOG_BYTES + 1))
        folder.set_large_logs_aside()
        child.write(b"later")
    assert folder.log_path("web").read_text() == "later"
    assert (tmp_path / "logs" / "web.old").stat().st_size == MAX_LOG_BYTES + 1


def test_a_small_log_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "logs").mkdir()
    folder = Folder(tmp_path, choose_accounts("test"))
    folder.log_path("web").write_text("short")
    folder.set_large_logs_aside()
    assert [each.name for each in (tmp_path / "logs").iterdir()] == ["web.log"]


def test_only_what_a_log_says_since_a_start_explains_its_failure(tmp_path: Path) -> None:
    log = tmp_path / "postgres.log"
    log.write_text("No space left on device\n")
    start = log.stat().st_size
    with log.open("a") as later:
        later.write("shared memory block is still in use\n")
    assert reports_full_disk(log, 0) is True
    assert reports_full_disk(log, start) is False
    assert str(error_from_log("It failed", log, start, tmp_path)) == f"It failed; its log is {log}."
    assert "is full: make room there" in str(error_from_log("It failed", log, 0, tmp_path))


def test_a_log_that_was_set_aside_meanwhile_is_read_from_its_beginning(tmp_path: Path) -> None:
    log = tmp_path / "postgres.log"
    log.write_text("No space left on device\n")
    assert reports_full_disk(log, 10_000)


def test_what_commands_a_terminal_is_not_printed(tmp_path: Path) -> None:
    log = tmp_path / "sign-ins.log"
    log.write_text("ines\x1b[2J\rroot\nrosa\x07\n")
    assert read_tail(log) == "ines[2Jroot\nrosa\n"


def test_a_log_that_filled_the_disk_is_emptied_also_without_room_for_its_copy(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    (tmp_path / "logs").mkdir()
    folder = Folder(tmp_path, choose_accounts("test"))
    folder.log_path("web").write_bytes(b"x" * (MAX_LOG_BYTES + 1))
    monkeypatch.setattr(shutil, "copyfile", fail)
    with pytest.raises(OSError, match="No space"):
        folder.set_large_logs_aside()
    assert folder.log_path("web").stat().st_size == 0
