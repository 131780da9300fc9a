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
from fleet.portfolio.models import Boiler, Import, Portfolio, Position
from fleet.portfolio.news import Cause
from fleet.portfolio.sheet import parse
from tests.cast import DAY, NOW, Fleet, make_person
from tests.portfolio.sheets import CATALOGUE
from tests.portfolio.streets import as_csv, as_table

pytestmark = [pytest.mark.django_db, pytest.mark.timeout(1500)]


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
    pipeline.confirm_import(of=made, version=made.version, by=ines, at=at, cause=Cause(who="ines"))
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


@pytest.mark.parametrize(("make", "read"), [(as_csv, read_csv), (as_xlsx, read_xlsx)])
def test_two_hundred_buildings_from_one_file(
    make: Callable[[int], bytes],
    read: Callable[[bytes], int],
    street: Portfolio,
    ines: User,
    capsys: pytest.CaptureFixture[str],
) -> None:
    seconds, ratio = measured(street, ines, make(200), read, capsys)
    assert Position.objects.filter(portfolio=street).count() == 4200
    assert seconds < 4200 * 0.005  # of the machine's time, both steps
    assert read is read_csv or ratio < 10


@pytest.mark.full
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
    rows = parse(as_csv(buildings).decode(), CATALOGUE)
    with CaptureQueriesContext(connection) as captured:
        pipeline.change_register(portfolio=street, rows=rows, at=at, cause=Cause(who="office"))
    return len(captured)


def test_the_queries_are_the_same_for_forty_buildings_and_for_a_hundred(street: Portfolio) -> None:
    # lock; buildings, boilers, positions, settings twice, fittings (6); rows of each of six tables with a savepoint
    # each; names of the judged; pulse with a savepoint, changes; the transaction
    few, other = queries(street, 40), Portfolio.objects.create(ref="MORE", name="More")
    assert (few, queries(other, 85)) == (few, few)
    assert few < 45


def test_many_boilers_are_left_to_the_sweep_and_few_are_judged_at_once(street: Portfolio) -> None:
    queries(street, 20)
    assert Judged.objects.filter(portfolio=street).count() == 30
    queries(street, 100)
    assert Judged.objects.filter(portfolio=street).count() == 30
    swept = pipeline.sweep(at=NOW)
    assert (swept.judged, Judged.objects.filter(portfolio=street).count()) == (120, 150)


def test_boilers_judged_before_are_judged_again_by_the_next_sweep(street: Portfolio) -> None:
    queries(street, 40)
    pipeline.sweep(at=NOW)
    rows = parse(as_csv(40).decode(), CATALOGUE)
    changed = [replace(r, on_boiler=(("output_btu_h", 700_000.0),)) for r in rows]
    at = NOW + DAY
    report = pipeline.change_register(portfolio=street, rows=changed, at=at, cause=Cause(who="office"))
    assert (report.added, Judged.objects.filter(portfolio=street, next_at=at).count()) == ({"settings": 60}, 60)
    assert Change.objects.filter(kind="register.set", who="office").count() == 60
    assert pipeline.sweep(at=at).judged == 60
    assert not Judged.objects.filter(portfolio=street, next_at__lte=at).exists()
