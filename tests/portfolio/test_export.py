"""The register as a sheet: read back in it does nothing, whatever the register holds; no text becomes a formula."""

import csv
import io
from dataclasses import replace
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import load_workbook

from fleet import pipeline
from fleet.errors import Refused
from fleet.portfolio.models import Boiler, Portfolio
from fleet.records.events import Cause
from fleet.sheets import export, files, table_output
from fleet.sheets.plan import plan_import
from fleet.sheets.register_sheet import SheetRow, parse_sheet, rows_of
from fleet.sheets.register_snapshot import RegisterSnapshot
from tests.cast import DAY, NOW, Fleet
from tests.portfolio.sheets import CATALOGUE, CELLS, cell
from tests.portfolio.streets import as_csv

pytestmark = pytest.mark.django_db
WRITERS = {"csv": table_output.as_csv, "xlsx": table_output.as_xlsx}


def exported(portfolio: Portfolio, kind: str, at: Any = NOW) -> bytes:
    rows = export.sheet_rows(portfolio=portfolio, boilers=Boiler.objects.all(), catalogue=CATALOGUE, at=at)
    return b"".join(WRITERS[kind](rows))


def does(portfolio: Portfolio, content: bytes, at: Any = NOW + DAY) -> tuple[int, list[Any]]:
    """How many rows a file has, and everything its import would do."""
    rows = rows_of(files.read_table(content, CATALOGUE), CATALOGUE)
    made = plan_import(portfolio=portfolio, register=RegisterSnapshot.for_sheet(portfolio, rows, at), rows=rows, at=at)
    return len(rows), [line for line in made.lines if line.does]


def imported(portfolio: Portfolio, rows: list[SheetRow], at: Any = NOW) -> None:
    pipeline.change_register(portfolio=portfolio, rows=rows, at=at, cause=Cause(who="office"))


@pytest.mark.parametrize("kind", WRITERS)
def test_an_export_read_back_in_does_nothing(kind: str, fleet: Fleet) -> None:
    imported(fleet.portfolio, parse_sheet(as_csv(3).decode(), CATALOGUE))
    assert does(fleet.portfolio, exported(fleet.portfolio, kind)) == (4 * 14 + 16, [])


@pytest.mark.parametrize("kind", WRITERS)
def test_an_export_read_into_an_empty_portfolio_makes_the_same_register(kind: str, fleet: Fleet) -> None:
    imported(fleet.portfolio, parse_sheet(as_csv(3).decode(), CATALOGUE))
    first, other = exported(fleet.portfolio, "csv"), Portfolio.objects.create(ref="ELSE", name="Elsewhere")
    content = exported(fleet.portfolio, kind)
    rows = rows_of(files.read_table(content, CATALOGUE), CATALOGUE)
    imported(other, [replace(r, portfolio_ref="") for r in rows])
    assert exported(other, "csv").replace(b"ELSE,", b"SORRELGATE,") == first


def test_what_a_visit_set_or_replaced_is_the_visits_word_and_not_the_sheets(fleet: Fleet) -> None:
    before = exported(fleet.portfolio, "csv")
    fleet.post(fleet.serviced(NOW))
    assert exported(fleet.portfolio, "csv", NOW + DAY) == before


TEXTS = st.text(
    st.one_of(st.sampled_from("=+-@'\t\r\n\"|,;<&>_x0041"), st.characters(codec="utf-8", exclude_categories=["Cs"])),
    min_size=1,
    max_size=12,
)
NUMBERS = st.floats(0, 300, allow_nan=False)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_whatever_a_sheet_brought_in_its_export_does_nothing(data: st.DataObject, fleet: Fleet) -> None:
    named = {n: data.draw(TEXTS) for n in ("building_ref", "address", "boiler_ref", "boiler_name")}
    rows = []
    for number in range(data.draw(st.integers(1, 3))):
        own = {"ref": f"{number}{data.draw(TEXTS)}", "name": data.draw(TEXTS), "reset": data.draw(TEXTS)}
        number_text = format(data.draw(NUMBERS), ".12f")
        limit = {"role": "high_limit", "kind": "limit_control", "set_psi": number_text}
        rows.append({**CELLS, **{cell(k): v for k, v in {**named, **own, **limit}.items()}})
    written = io.StringIO(newline="")
    made = csv.DictWriter(written, list(CELLS))
    made.writeheader()
    made.writerows(rows)
    try:
        read = parse_sheet(written.getvalue(), CATALOGUE)
    except Refused:
        return  # what can't come in needn't go out
    with transaction.atomic():
        portfolio = Portfolio.objects.create(ref="PROPERTY", name="Property")
        imported(portfolio, read)
        for kind in WRITERS:
            assert does(portfolio, exported(portfolio, kind)) == (len(rows), []), kind
        transaction.set_rollback(True)


@pytest.mark.parametrize("text", ["=1+1", "+1+1", "-1+1", "@sum", "'=1", "=cmd|' /c calc'!A1"])
def test_a_text_that_begins_like_a_formula_is_a_text(text: str) -> None:
    (line,) = csv.reader(io.StringIO(b"".join(table_output.as_csv([[text]])).decode("utf-8-sig")))
    assert line == ["'" + text]
    found = load_workbook(io.BytesIO(b"".join(table_output.as_xlsx([[text]])))).active["A1"]
    assert (found.value, found.data_type) == (text, "s")


@pytest.mark.parametrize("value", [-5, -2.5, 8, 8.0, 1e-7, 1e9])
def test_a_number_is_a_number(value: float) -> None:
    assert not b"".join(table_output.as_csv([[value]])).decode("utf-8-sig").startswith("'")
    assert load_workbook(io.BytesIO(b"".join(table_output.as_xlsx([[value]])))).active["A1"].value == value


def test_a_character_no_workbook_can_hold_does_not_break_one() -> None:
    content = b"".join(table_output.as_xlsx([["a\x00b\ud800"]]))
    assert load_workbook(io.BytesIO(content)).active["A1"].value == "a\ufffdb\ufffd"


def test_the_example_is_a_sheet_that_can_be_read(fleet: Fleet) -> None:
    for write in WRITERS.values():
        read = rows_of(files.read_table(b"".join(write(export.example_rows(CATALOGUE))), CATALOGUE), CATALOGUE)
        assert [r.position_ref for r in read] == ["siphon", "limit"]


def test_an_export_comes_in_pieces_and_in_as_many_queries_as_there_are_batches(
    fleet: Fleet, django_assert_max_num_queries: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    imported(fleet.portfolio, parse_sheet(as_csv(40).decode(), CATALOGUE))
    monkeypatch.setattr(export, "BOILERS_PER_BATCH", 20)
    # kinds, what is declared, the boilers; then six a batch
    with django_assert_max_num_queries(3 + 6 * 4):
        pieces = list(
            table_output.as_csv(
                export.sheet_rows(portfolio=fleet.portfolio, boilers=Boiler.objects.all(), catalogue=CATALOGUE, at=NOW)
            )
        )
    assert len(pieces) > 1
