"""A whole portfolio from one file: time against reading the file alone, a fixed number of queries, judged by sweeps."""

import csv
import io
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from openpyxl import Workbook, load_workbook

from fleet import pipeline
from fleet.accounts.models import User
from fleet.board.models import Change, Judged
from fleet.pipeline import register
from fleet.portfolio.models import Boiler, Building, Fitting, Import, Portfolio, Position, Setting
from fleet.records.events import Cause
from fleet.sheets import imports
from fleet.sheets.register_sheet import parse_sheet
from tests.cast import DAY, NOW, Fleet, make_fleet, make_person
from tests.portfolio.sheets import CATALOGUE
from tests.portfolio.streets import as_csv, as_table

pytestmark = [pytest.mark.django_db, pytest.mark.timeout(600)]


@pytest.fixture
def ines(fleet: Fleet) -> User:
    return make_person("ines", fleet.portfolio, "office")


@pytest.fixture
def street(fleet: Fleet) -> Portfolio:
    return Portfolio.objects.create(ref="STREETS", name="Streets")


def as_xlsx(buildings: int) -> bytes:
    made, written = Workbook(write_only=True), io.BytesIO()
    sheet = made.create_sheet("register")
    for row in as_table(buildings):
        sheet.append(row)
    made.save(written)
    return written.getvalue()


def read_csv(content: bytes) -> int:
    return sum(1 for _ in csv.reader(io.StringIO(content.decode())))


def read_xlsx(content: bytes) -> int:
    book = load_workbook(io.BytesIO(content), read_only=True)
    return sum(1 for _ in book.active.iter_rows(values_only=True))


def took(work: Callable[[], Any]) -> tuple[float, float]:
    """Wall and CPU seconds of this process."""
    wall, cpu = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - wall, time.process_time() - cpu


def imported(street: Portfolio, ines: User, content: bytes, at: datetime = NOW) -> Import:
    """Both steps, each by a worker where the file is large."""
    made = pipeline.receive_import(portfolio=street, content=content, name="streets", by=ines, at=at)
    pipeline.work_on_imports(at=at)
    made.refresh_from_db()
    pipeline.confirm_import(import_row=made, version=made.version, by=ines, at=at, cause=Cause(who="ines"))
    pipeline.work_on_imports(at=at)
    made.refresh_from_db()
    return made


def measured(
    street: Portfolio, ines: User, content: bytes, read: Callable[[bytes], int], capsys: pytest.CaptureFixture[str]
) -> tuple[float, float]:
    """Import; print what it took against reading the file alone; return CPU seconds and how many times that is."""
    made: list[Import] = []
    alone = took(lambda: read(content))
    whole = took(lambda: made.append(imported(street, ines, content)))
    again = took(lambda: made.append(imported(street, ines, content, NOW + DAY)))
    assert [(m.status, m.report["changes"] > 0) for m in made] == [("saved", True), ("saved", False)]
    ratios = whole[0] / alone[0], whole[1] / alone[1]
    with capsys.disabled():
        print(
            f"\n{read.__name__}, {len(content) / 1e6:.1f} MB, {made[0].report['rows']:,} rows: "
            f"the file alone {alone[0]:.2f} s (CPU {alone[1]:.2f}), report and import without judging "
            f"{whole[0]:.2f} s (CPU {whole[1]:.2f}): {ratios[0]:.0f} times (CPU {ratios[1]:.0f}); "
            f"once more, nothing new: {again[0]:.2f} s"
        )
    return whole[1], ratios[1]


@pytest.mark.parametrize(("make", "read", "buildings"), [(as_csv, read_csv, 200), (as_xlsx, read_xlsx, 60)])
def test_many_buildings_from_one_file(
    make: Callable[[int], bytes],
    read: Callable[[bytes], int],
    buildings: int,
    street: Portfolio,
    ines: User,
    capsys: pytest.CaptureFixture[str],
) -> None:
    seconds, ratio = measured(street, ines, make(buildings), read, capsys)
    assert Position.objects.filter(portfolio=street).count() == 21 * buildings
    assert seconds < 21 * buildings * 0.005  # of the machine's time, both steps
    assert read is read_csv or ratio < 10


def test_tables_the_server_holds_to_be_empty_do_not_slow_the_next_sheet(street: Portfolio, ines: User) -> None:
    """Statistics taken while a sheet is not yet committed know none of its rows: joins planned by them never end."""
    first = took(lambda: imported(street, ines, as_csv(40)))[0]
    other = connection.copy()
    with other.cursor() as cursor:
        for model in (Building, Boiler, Position, Setting, Fitting):
            cursor.execute(f"ANALYZE {model._meta.db_table}")
    other.close()
    second = took(lambda: imported(street, ines, as_csv(40), NOW + DAY))[0]
    print(f"40 buildings {first:.2f} s, once more by stale statistics {second:.2f} s")
    assert second < 4 * first


@pytest.mark.full
@pytest.mark.timeout(1500)
@pytest.mark.parametrize(("make", "read"), [(as_csv, read_csv), (as_xlsx, read_xlsx)])
def test_five_thousand_buildings_from_one_file(
    make: Callable[[int], bytes],
    read: Callable[[bytes], int],
    street: Portfolio,
    ines: User,
    capsys: pytest.CaptureFixture[str],
) -> None:
    measured(street, ines, make(5000), read, capsys)
    assert Boiler.objects.filter(portfolio=street).count() == 7500
    assert Position.objects.filter(portfolio=street).count() == 105_000


def queries(street: Portfolio, buildings: int, at: datetime = NOW) -> int:
    rows = parse_sheet(as_csv(buildings).decode(), CATALOGUE)
    with CaptureQueriesContext(connection) as captured:
        pipeline.change_register(portfolio=street, rows=rows, at=at, cause=Cause(who="office"))
    return len(captured)


def test_the_queries_are_the_same_for_forty_buildings_and_for_a_hundred(street: Portfolio) -> None:
    # lock; buildings, boilers, positions, settings twice, fittings (6); rows of each of six tables with a savepoint
    # each; names of the judged; pulse with a savepoint, changes; the transaction
    few, other = queries(street, 40), Portfolio.objects.create(ref="MORE", name="More")
    assert (few, queries(other, 85)) == (few, few)
    assert few < 45


@pytest.mark.parametrize(("buildings", "at_once"), [(2, 3), (3, 4), (4, 0)])
def test_more_boilers_than_are_judged_at_once_are_left_to_the_sweep(
    buildings: int, at_once: int, street: Portfolio, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert register.MAX_JUDGED_AT_ONCE == 50
    monkeypatch.setattr(register, "MAX_JUDGED_AT_ONCE", 4)
    queries(street, buildings)  # one boiler in the first, two in the second, and so on
    assert Judged.objects.filter(portfolio=street).count() == at_once
    boilers = Boiler.objects.filter(portfolio=street).count()
    assert pipeline.sweep(at=NOW).judged == boilers - at_once
    assert Judged.objects.filter(portfolio=street).count() == boilers


def test_boilers_judged_before_are_judged_again_by_the_next_sweep(
    street: Portfolio, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(register, "MAX_JUDGED_AT_ONCE", 4)
    queries(street, 4)
    pipeline.sweep(at=NOW)
    rows, at = parse_sheet(as_csv(4).decode(), CATALOGUE), NOW + DAY
    changed = [replace(r, on_boiler=(("output_btu_h", 700_000.0),)) for r in rows]
    report = pipeline.change_register(portfolio=street, rows=changed, at=at, cause=Cause(who="office"))
    assert (report.added, Judged.objects.filter(portfolio=street, next_at=at).count()) == ({"settings": 6}, 6)
    assert Change.objects.filter(kind="register.set", who="office").count() == 6
    assert pipeline.sweep(at=at).judged == 6
    assert not Judged.objects.filter(portfolio=street, next_at__lte=at).exists()


@pytest.mark.django_db(transaction=True)
def test_how_far_it_is_can_be_seen_beside_the_transaction_that_saves(monkeypatch: pytest.MonkeyPatch) -> None:
    fleet = make_fleet()
    ines = make_person("ines", fleet.portfolio, "office")
    sent = {"content": as_csv(40), "name": "street", "by": ines, "at": NOW}
    made = pipeline.receive_import(portfolio=fleet.portfolio, **sent)
    seen, keep, other = list[Any](), imports.store_outcome, connection.copy()

    def looked(row: Import, found: Any) -> None:
        with other.cursor() as cursor:
            cursor.execute("SELECT status, done, total, tries FROM portfolio_import")
            seen.extend(cursor.fetchall())
        keep(row, found)

    monkeypatch.setattr(imports, "store_outcome", looked)
    pipeline.work_on_imports(at=NOW)
    other.close()
    made.refresh_from_db()
    assert seen == [("reading", 500, 840, 1)]
    assert made.status == "ready"
    assert made.tries == 0
