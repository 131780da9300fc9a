"""XLSX is read as what its cells are, or refused with row and column; hostile ones soon and in little room."""

import io
import time
import tracemalloc
from datetime import date, datetime
from datetime import time as time_of_day
from typing import Any
from zipfile import ZIP_DEFLATED, ZipFile

import pytest

from fleet.sheets.register_sheet import parse_sheet
from tests.portfolio.books import book, cells, faults, part, repacked, rows, saved, table
from tests.portfolio.sheets import CATALOGUE, LIMIT, row, sheet

DAY = date(2019, 10, 1)
GOOD = saved(book(cells()))


def test_a_workbook_says_what_the_same_csv_says() -> None:
    text = sheet(row(), row(**LIMIT, hangs_on=""))
    assert rows(saved(book(cells(), cells(**LIMIT, hangs_on="")))) == parse_sheet(text, CATALOGUE)


@pytest.mark.parametrize("value", ["8", 8, 8.0, "8.0"])
def test_a_set_point_is_eight_however_its_cell_holds_it(value: Any) -> None:
    assert rows(saved(book(cells(**{**LIMIT, "set_psi": value}))))[0].attributes == (("set_psi", 8.0),)


@pytest.mark.parametrize("value", [12, 12.0, "12"])
def test_a_ref_that_is_a_number_is_its_digits(value: Any) -> None:
    assert rows(saved(book(cells(boiler_ref=value))))[0].boiler_ref == "12"


def test_a_fraction_keeps_every_digit_it_has() -> None:
    assert rows(saved(book(cells(**{**LIMIT, "set_psi": 1 / 3}))))[0].attributes == (("set_psi", 1 / 3),)


@pytest.mark.parametrize("value", [DAY, datetime.combine(DAY, time_of_day()), "2019-10-01"])
def test_a_day_is_a_day_however_its_cell_holds_it(value: Any) -> None:
    assert rows(saved(book(cells(since=value, fitted_on=value))))[0].since == DAY


def test_a_day_with_a_time_is_no_day() -> None:
    assert faults(saved(book(cells(since=datetime.combine(DAY, time_of_day(8)))))) == [("not_a_date", (2, "since"))]


def test_a_text_that_a_spreadsheet_made_a_date_of_is_refused_and_not_guessed() -> None:
    assert ("not_here", (2, "boiler_ref")) in faults(saved(book(cells(boiler_ref=date(2026, 1, 2)))))


def test_yes_and_no_belong_where_they_are_asked() -> None:
    assert ("not_here", (2, "position_name")) in faults(saved(book(cells(name=True))))


@pytest.mark.parametrize("formula", ["=1+7", '=HYPERLINK("http://example.org")', "=cmd|' /c calc'!A1"])
def test_a_formula_is_refused_in_its_cell(formula: str) -> None:
    assert faults(saved(book(cells(), cells(ref="b", name=formula))))[0] == ("formula", (3, "position_name"))


def test_a_formulas_last_value_is_never_read() -> None:
    content = saved(book(cells(**{**LIMIT, "set_psi": "=4+4"})))
    cached = part(content).replace(b"<f>4+4</f><v></v>", b"<f>4+4</f><v>8</v>").replace(b"<v />", b"<v>8</v>")
    assert b"<v>8</v>" in cached
    changed = repacked(content, xl__worksheets__sheet1_dot_xml=cached)
    assert faults(changed) == [("formula", (2, "set_psi"))]


def test_a_text_that_begins_like_a_formula_is_a_text() -> None:
    made = book(cells())
    made.active["K2"].value = "=high"
    made.active["K2"].data_type = "s"
    assert rows(saved(made))[0].position_name == "=high"


def test_an_error_in_a_cell_is_refused() -> None:
    made = book(cells())
    made.active["K2"].value = "#REF!"
    made.active["K2"].data_type = "e"
    assert faults(saved(made))[0] == ("error_cell", (2, "position_name"))


def test_merged_cells_are_refused_with_their_range() -> None:
    made = book(cells(), cells(ref="b"))
    made.active.merge_cells("B2:B3")
    told = table(saved(made)).faults
    assert [(f.code, f.at, "B2:B3" in f.message) for f in told] == [("merged_cells", (2, "B"), True)]


def test_a_hidden_sheet_is_left_out_with_a_note() -> None:
    made = book(cells())
    made.create_sheet("old").sheet_state = "hidden"
    assert table(saved(made)).notes == ("The hidden sheet 'old' was left out.",)


def test_of_several_sheets_the_one_named_register_is_read() -> None:
    made = book(cells())
    made.create_sheet("notes").append(["anything"])
    assert len(rows(saved(made))) == 1
    made.active.title = "boilers"
    assert faults(saved(made)) == [("which_sheet", ())]


def test_empty_rows_and_cells_behind_change_nothing_and_rows_keep_their_numbers() -> None:
    made = book([], [], cells(zone="Nowhere"))
    made.active.cell(9, 30).number_format = "0.00"
    assert faults(saved(made)) == [("unknown_zone", (4, "zone"))]


def test_a_cell_beyond_the_named_columns_is_refused() -> None:
    assert faults(saved(book([*cells(), "surplus"])))[0] == ("too_many_cells", (2, "R"))


def test_faults_are_told_up_to_five_hundred_and_then_how_many_more() -> None:
    found = faults(saved(book(*(cells(ref=f"p{n}", zone="Nowhere") for n in range(612)))))
    assert (len(found), found[-1][0]) == (501, "more_faults")


# Hostile files.


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9, 0.999])
def test_half_a_workbook_says_so(share: float) -> None:
    assert faults(GOOD[: int(len(GOOD) * share)])[0][0] == "half_a_file"


def bomb(size: int) -> bytes:
    """A good workbook with one part that unpacks to a lot."""
    return repacked(GOOD, xl__media__image1_dot_png=b"\0" * size)


def test_a_part_that_grows_three_hundredfold_is_refused_in_little_room() -> None:
    content = bomb(120 * 1024 * 1024)
    tracemalloc.start()
    began = time.process_time()
    assert faults(content) == [("zip_bomb", ())]
    assert tracemalloc.get_traced_memory()[1] < 8 * 1024 * 1024
    tracemalloc.stop()
    assert time.process_time() - began < 5


def test_a_header_that_lies_about_the_size_is_not_believed() -> None:
    content = bomb(40 * 1024 * 1024)
    lied = content.replace((40 * 1024 * 1024).to_bytes(4, "little"), (1000).to_bytes(4, "little"))
    assert lied != content
    assert faults(lied)[0][0] in ("half_a_file", "zip_bomb")


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("xl__externalLinks__externalLink1_dot_xml", "external_links"),
        ("xl__connections_dot_xml", "external_links"),
        ("xl__vbaProject_dot_bin", "macros"),
        ("xl__embeddings__oleObject1_dot_bin", "embedded"),
    ],
)
def test_what_fetches_runs_or_hides_something_is_refused(name: str, code: str) -> None:
    assert faults(repacked(GOOD, **{name: b"<x/>"})) == [(code, ())]


ENTITY = b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>'


@pytest.mark.parametrize("before", [b"", b" " * (256 * 1024 - 4)])
def test_entities_are_refused_wherever_they_stand(before: bytes) -> None:
    sheet_part = part(GOOD).replace(b"<worksheet", before + ENTITY + b"<worksheet", 1)
    assert faults(repacked(GOOD, xl__worksheets__sheet1_dot_xml=sheet_part)) == [("document_type", ())]


def test_another_encoding_to_hide_them_in_is_refused() -> None:
    hidden = (ENTITY.decode() + part(GOOD).decode()).encode("utf-16")
    assert faults(repacked(GOOD, xl__worksheets__sheet1_dot_xml=hidden)) == [("not_a_workbook", ())]


@pytest.mark.parametrize("claim", [b"A1:XFD1048576", b"A1:A1"])
def test_what_a_sheet_claims_of_its_size_is_not_believed(claim: bytes) -> None:
    claimed = part(GOOD).replace(b'<dimension ref="A1:Q2"', b'<dimension ref="' + claim + b'"')
    assert claimed.count(claim) == 1
    assert len(rows(repacked(GOOD, xl__worksheets__sheet1_dot_xml=claimed))) == 1


def test_a_cell_in_the_last_column_of_all_is_refused() -> None:
    far = part(GOOD).replace(b"</row></sheetData>", b'<c r="XFD2" t="n"><v>1</v></c></row></sheetData>')
    assert faults(repacked(GOOD, xl__worksheets__sheet1_dot_xml=far)) == [("too_many_columns", (1,))]


def test_a_row_in_the_last_row_of_all_is_refused_soon() -> None:
    far = part(GOOD).replace(b"</sheetData>", b'<row r="1048576"><c r="A1048576" t="n"><v>1</v></c></row></sheetData>')
    began = time.process_time()
    assert faults(repacked(GOOD, xl__worksheets__sheet1_dot_xml=far))[0][0] == "too_many_rows"
    assert time.process_time() - began < 5


def packed(**parts: bytes) -> bytes:
    written = io.BytesIO()
    with ZipFile(written, "w", ZIP_DEFLATED) as made:
        for name, data in parts.items():
            made.writestr(name, data)
    return written.getvalue()


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (packed(a=b"1"), "not_a_workbook"),
        (b"PK\x03\x04 nothing more", "half_a_file"),
        (b"\xd0\xcf\x11\xe0" + b"\0" * 600, "older_workbook"),
        (b"%PDF-1.7", "not_a_table"),
        (b"x" * (20 * 1024 * 1024 + 1), "too_large"),
        (repacked(GOOD, xl__workbook_dot_xml=b"<workbook/>"), "no_sheet"),
        (repacked(GOOD, xl__worksheets__sheet1_dot_xml=part(GOOD)[:300]), "not_a_workbook"),
        (repacked(GOOD, xl__worksheets__sheet1_dot_xml=part(GOOD)[:-30]), "not_a_workbook"),
        (repacked(GOOD, xl__workbook_dot_xml=b"not xml"), "not_a_workbook"),
    ],
)
def test_what_is_no_workbook_is_refused_as_a_whole(content: bytes, code: str) -> None:
    assert faults(content)[0][0] == code
