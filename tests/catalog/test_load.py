"""Loading a catalogue: releases are added, codes are retired, nothing is written twice."""

from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from django.core.management import call_command
from django.db import DatabaseError

from fleet.catalog import queries
from fleet.catalog.models import Kind, Procedure, Release
from fleet.catalog.parse import read_release
from fleet.catalog.services import first_day_of_a_later_release, load_release
from fleet.errors import Refused
from tests.catalog.edit import append, drop, drop_text, line_of, swap
from tests.site_role import as_tables_owner

AT = datetime(2026, 3, 3, 12, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _fresh(db: None) -> None:
    queries.catalogue_of.cache_clear()


def changed(folder: Path) -> Path:
    swap(folder / "kinds.csv", "siphon", "Siphon", "Siphon loop")
    return folder


def test_the_first_release_applies_to_all_time(folder: Path) -> None:
    release = load_release(folder=folder, at=AT)
    assert (release.number, release.starts_on) == (1, None)


def test_the_same_content_again_writes_nothing(folder: Path) -> None:
    first = load_release(folder=folder, at=AT)
    again = load_release(folder=folder, at=AT.replace(year=2027))
    assert again.pk == first.pk
    assert Release.objects.count() == 1
    assert again.loaded_at == AT


def test_a_changed_catalogue_is_a_new_release_from_a_later_day(folder: Path) -> None:
    load_release(folder=folder, at=AT)
    release = load_release(folder=changed(folder), at=AT)
    assert (release.number, release.starts_on) == (2, date(2026, 3, 5))


@pytest.mark.parametrize(
    ("at", "day"),
    [
        (datetime(2026, 3, 3, 9, 59, tzinfo=UTC), date(2026, 3, 4)),
        (datetime(2026, 3, 3, 10, 0, tzinfo=UTC), date(2026, 3, 5)),
    ],
)
def test_a_later_release_begins_after_the_latest_day_anywhere(at: datetime, day: date) -> None:
    assert first_day_of_a_later_release(at) == day


def test_a_broken_catalogue_leaves_nothing_behind(folder: Path) -> None:
    swap(folder / "kinds.csv", "siphon", ",S29", ",")
    with pytest.raises(Refused):
        load_release(folder=folder, at=AT)
    assert not Release.objects.exists()
    assert not Kind.objects.exists()


def test_the_catalogue_of_a_release_is_the_one_that_was_loaded(folder: Path) -> None:
    load_release(folder=folder, at=AT)
    assert queries.catalogue_of(1) == read_release(folder, 1)[1]


def test_an_old_release_keeps_its_words(folder: Path) -> None:
    load_release(folder=folder, at=AT)
    load_release(folder=changed(folder), at=AT)
    names = [queries.catalogue_of(n).kinds["siphon"].name for n in (1, 2)]
    assert names == ["Siphon", "Siphon loop"]


def test_the_newest_and_the_current_release_differ_until_its_day(folder: Path) -> None:
    load_release(folder=folder, at=AT)
    load_release(folder=changed(folder), at=AT)
    days = [date(2026, 3, 4), date(2026, 3, 5)]
    assert (queries.newest_release_number(), [queries.release_number_on(d) for d in days]) == (2, [1, 2])


def test_before_the_first_load_there_is_no_release() -> None:
    assert (queries.newest_release_number(), queries.release_number_on(AT.date())) == (None, None)


def test_a_code_that_is_gone_is_retired_and_stays(folder: Path) -> None:
    load_release(folder=folder, at=AT)
    _without_button(folder)
    load_release(folder=folder, at=AT)
    assert Procedure.objects.get(code="button_test").retired
    assert not Procedure.objects.get(code="flush").retired


def test_a_retired_code_is_never_used_again(folder: Path) -> None:
    load_release(folder=folder, at=AT)
    texts = (folder / "texts.yaml").read_text()
    row = _without_button(folder)
    load_release(folder=folder, at=AT)
    line = append(folder / "procedures.csv", row)
    (folder / "texts.yaml").write_text(texts)
    with pytest.raises(Refused) as refused:
        load_release(folder=folder, at=AT)
    assert refused.value.faults[0].at == ("procedures.csv", line, "code")


def _without_button(folder: Path) -> str:
    table = folder / "procedures.csv"
    row = table.read_text().splitlines()[line_of(table, "button_test") - 1]
    drop(table, "button_test")
    table.write_text(table.read_text().replace("|button_test", ""))
    drop_text(folder / "texts.yaml", "button_test")
    return row


@pytest.mark.parametrize("act", ["update", "delete"])
def test_the_database_refuses_to_change_or_remove_a_release(folder: Path, act: str) -> None:
    load_release(folder=folder, at=AT)
    rows = Release.objects.filter(number=1)
    with pytest.raises(DatabaseError, match="never changed or removed"), as_tables_owner():
        rows.update(digest="") if act == "update" else rows._raw_delete(rows.db)


def test_the_command_tells_release_and_counts(capsys: pytest.CaptureFixture[str]) -> None:
    call_command("load_catalogue")
    assert capsys.readouterr().out.startswith("Catalogue release 1, from the beginning: 5 hazards")


def test_the_command_prints_every_fault_and_leaves_with_1(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    line = swap(folder / "kinds.csv", "siphon", ",S29", ",")
    with pytest.raises(SystemExit) as left:
        call_command("load_catalogue", str(folder))
    assert left.value.code == 1
    assert f"kinds.csv:{line}: source: needs a value" in capsys.readouterr().err
