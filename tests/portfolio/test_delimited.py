"""CSV in its encodings and separators; what can't be read is told with row and column."""

import pytest

from fleet.errors import Refused
from fleet.sheets.register_sheet import parse_sheet
from tests.portfolio.books import faults, rows
from tests.portfolio.sheets import CATALOGUE, CELLS, LIMIT, row, sheet

TEXT = sheet(row(address="12 Alder Térrace"), row(**LIMIT, address="12 Alder Térrace"))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_every_encoding_that_says_what_it_is_is_read(encoding: str) -> None:
    assert rows(TEXT.encode(encoding)) == parse_sheet(TEXT, CATALOGUE)


def test_a_byte_of_an_older_encoding_is_told_with_its_row_and_column() -> None:
    assert faults(TEXT.encode("cp1252")) == [("not_utf8", (2, "address"))]


@pytest.mark.parametrize("separator", [";", "\t"])
def test_the_place_of_such_a_byte_goes_by_the_separator_there_is(separator: str) -> None:
    content = sheet(row(), row(ref="b", name="Kessel für alle")).replace(",", separator).encode("cp1252")
    assert faults(content) == [("not_utf8", (3, "position_name"))]


def test_half_a_character_of_utf_16_is_refused() -> None:
    assert faults(TEXT.encode("utf-16")[:-1]) == [("not_utf16", ())]


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_the_separator_is_the_one_between_the_names_of_the_columns(separator: str) -> None:
    text = sheet(row(address="12 Alder Terrace"))
    assert rows(text.replace(",", separator).encode()) == parse_sheet(text, CATALOGUE)


def test_a_separator_in_quotes_separates_nothing() -> None:
    text = sheet(row(address='"12; Alder; Terrace"'))
    assert rows(text.encode())[0].address == "12; Alder; Terrace"


def test_a_decimal_comma_is_no_number() -> None:
    text = sheet(row(**{**LIMIT, "set_psi": "8#5"})).replace(",", ";").replace("#", ",")
    assert faults(text.encode()) == [("not_a_number", (2, "set_psi"))]


def test_a_file_that_ends_inside_quotes_says_where_they_opened() -> None:
    text = sheet(row(), row(ref="b", name='"upper'))
    assert faults(text.encode()) == [("half_a_file", (3, "position_name"))]


def test_a_file_cut_in_the_middle_of_a_row_is_a_short_row() -> None:
    assert faults(sheet(row(), row(ref="b"))[:-40].encode())[0] == ("too_few_cells", (3,))


@pytest.mark.parametrize("text", ["a\x00b", "a\x07b", "a\x1bb", "a\ufffeb"])
def test_a_character_that_no_workbook_could_hold_is_refused_in_its_cell(text: str) -> None:
    assert faults(sheet(row(name=text)).encode()) == [("not_text", (2, "position_name"))]


@pytest.mark.parametrize("text", ["=1+1", "+x", "@x", "'=x"])
def test_a_guard_in_front_of_a_formula_is_taken_away_once(text: str) -> None:
    assert rows(sheet(row(name=f"'{text}")).encode())[0].position_name == text


def test_an_apostrophe_in_front_of_anything_else_stays() -> None:
    assert rows(sheet(row(name="'s boiler")).encode())[0].position_name == "'s boiler"


def test_more_rows_than_a_register_has_are_refused_before_they_are_looked_at() -> None:
    text = ",".join(CELLS) + "\n" + "x\n" * 300_001
    assert faults(text.encode()) == [("too_many_rows", (300_002,))]


def test_more_columns_than_a_sheet_has_are_refused() -> None:
    assert faults((",".join(CELLS) + "," * 300 + "\n").encode()) == [("too_many_columns", (1,))]


def test_faults_beyond_five_hundred_are_counted() -> None:
    text = sheet(*(row(ref=f"p{n}", zone="Nowhere") for n in range(612)))
    with pytest.raises(Refused) as refused:
        parse_sheet(text, CATALOGUE)
    assert refused.value.faults[-1].message == "112 more faults are not listed here."
