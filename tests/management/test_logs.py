"""A log that grew large is set aside while its child goes on writing to it."""

from pathlib import Path

from fleet.management.embedded.folder import MAX_LOG_BYTES, Folder
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
