"""A register sheet is read whole, or refused with every fault at its row and column."""

from typing import Any

import pytest

from fleet.errors import Refused
from fleet.sheets.register_sheet import SheetRow, parse_sheet
from tests.cast import register
from tests.portfolio.sheets import CATALOGUE, cell, faults, row, sheet


def test_the_demonstrations_sheet_is_read() -> None:
    assert len(parse_sheet(register(), CATALOGUE)) == register().count("\n") - 1


def test_a_row_carries_what_it_says() -> None:
    read = parse_sheet(sheet(row(ref="limit", role="high_limit", kind="limit_control", set_psi="8.5")), CATALOGUE)
    assert [type(r) for r in read] == [SheetRow]
    assert read[0].line == 2
    assert read[0].units == 31
    assert read[0].attributes == (("set_psi", 8.5),)


@pytest.mark.parametrize("change", ["\ufeff{}", "{}\n\n", "{}\n,,,,,,,,,,,,,,,,\n"])
def test_a_byte_order_mark_and_empty_rows_change_nothing(change: str) -> None:
    plain = sheet(row())
    assert parse_sheet(change.format(plain), CATALOGUE) == parse_sheet(plain, CATALOGUE)


@pytest.mark.parametrize("ending", ["\r\n", "\r", "\n"])
def test_every_way_to_end_a_line_is_read(ending: str) -> None:
    text = sheet(row(), row(ref="second"))
    assert parse_sheet(text.replace("\n", ending), CATALOGUE) == parse_sheet(text, CATALOGUE)


def test_commas_quotes_and_line_ends_in_quoted_cells_belong_to_the_cell() -> None:
    text = sheet(row(address='"12, Alder ""old"" Terrace\nYard"'), row(ref="second", address="elsewhere"))
    with pytest.raises(Refused) as refused:
        parse_sheet(text, CATALOGUE)
    # The row is the table's third also where a cell runs over two lines.
    assert [(f.code, f.at) for f in refused.value.faults] == [("differs", (3, "address"))]
    assert '12, Alder "old" Terrace' in refused.value.faults[0].message


def test_spaces_around_cells_and_column_names_are_no_part_of_them() -> None:
    text = sheet(row())
    assert parse_sheet(text.replace(",", " , "), CATALOGUE) == parse_sheet(text, CATALOGUE)


@pytest.mark.parametrize("text", ["", "\ufeff"])
def test_an_empty_file_lacks_every_column(text: str) -> None:
    assert faults(text)[:2] == [("missing_column", (1, "building_ref")), ("missing_column", (1, "address"))]


def test_a_sheet_of_only_its_first_row_is_refused() -> None:
    assert faults(sheet()) == [("no_rows", (1,))]


def test_missing_unknown_and_double_columns_are_told_together() -> None:
    text = sheet(row()).replace("zone", "timezone").replace("set_psi", "kind")
    assert sorted(faults(text)) == [
        ("double_column", (1, "kind")),
        ("missing_column", (1, "zone")),
        ("unknown_column", (1, "timezone")),
    ]


def test_a_column_without_a_name_is_unknown() -> None:
    assert faults(sheet(row()).replace("\n", ",\n")) == [("unknown_column", (1, ""))]


@pytest.mark.parametrize(
    ("text", "code"), [(row() + ",surplus", "too_many_cells"), (row().rsplit(",", 1)[0], "too_few_cells")]
)
def test_a_ragged_row_is_refused(text: str, code: str) -> None:
    assert faults(sheet(text)) == [(code, (2,))]


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ('"open', ("half_a_file", (2, "address"))),
        ('"a"b', ("not_a_table", (2,))),
        ("x" * 200_000, ("not_a_table", (2,))),
    ],
)
def test_what_is_no_table_is_refused_in_its_row(text: str, fault: tuple[str, Any]) -> None:
    assert faults(sheet(row(address=text))) == [fault]


@pytest.mark.parametrize("column", ["building_ref", "address", "boiler_ref", "boiler_name", "ref", "name"])
@pytest.mark.parametrize("text", ["a\x00b", "a\ud800"])
def test_what_no_database_keeps_is_refused(column: str, text: str) -> None:
    assert faults(sheet(row(**{column: text}))) == [("not_text", (2, cell(column)))]


@pytest.mark.parametrize("column", ["building_ref", "address", "boiler_ref", "boiler_name", "ref", "name"])
def test_what_is_longer_than_its_place_is_refused(column: str) -> None:
    longest = 200 if column in ("address", "boiler_name", "name") else 64
    assert faults(sheet(row(**{column: "x" * longest}))) == []
    assert faults(sheet(row(**{column: "x" * (longest + 1)}))) == [("too_long", (2, cell(column)))]


@pytest.mark.parametrize("column", ["building_ref", "address", "zone", "boiler_ref", "boiler_name", "since", "ref"])
def test_an_empty_cell_that_is_needed_is_one_fault(column: str) -> None:
    assert faults(sheet(row(**{column: " "}))) == [("empty", (2, cell(column)))]


def test_an_empty_place_needs_neither_device_nor_date() -> None:
    assert faults(sheet(row(kind="", fitted_on=""))) == []


def test_a_fitted_device_needs_its_date() -> None:
    assert faults(sheet(row(fitted_on=""))) == [("empty", (2, "fitted_on"))]


@pytest.mark.parametrize(
    "zone", ["New York", "America", "../etc/passwd", "/etc/passwd", "EST5EDT4", "a\\b", "X" * 60, "+05:00"]
)
def test_a_zone_that_is_none_is_refused(zone: str) -> None:
    assert faults(sheet(row(zone=zone))) == [("unknown_zone", (2, "zone"))]


def test_an_unknown_role_and_a_kind_that_does_not_fit_are_refused() -> None:
    text = sheet(row(role="chimney"), row(ref="b", kind="safety_valve"), row(ref="c", kind="chimney"))
    assert faults(text) == [
        ("unknown_role", (2, "role")),
        ("kind_does_not_fit", (3, "kind")),
        ("kind_does_not_fit", (4, "kind")),
    ]


def test_a_value_the_device_does_not_have_is_refused_and_not_dropped() -> None:
    text = sheet(row(set_psi="8"), row(ref="b", kind="", fitted_on="", set_psi="8"))
    assert faults(text) == [("value_does_not_fit", (2, "set_psi")), ("value_does_not_fit", (3, "set_psi"))]


def test_one_position_on_two_rows_is_refused_each_time_it_comes_again() -> None:
    assert faults(sheet(row(), row(), row(ref="other"), row())) == [
        ("double", (3, "position_ref")),
        ("double", (5, "position_ref")),
    ]


def test_one_ref_on_two_boilers_is_two_positions() -> None:
    assert faults(sheet(row(), row(boiler_ref="B2"), row(building_ref="ELM"))) == []


@pytest.mark.parametrize(
    ("column", "text"),
    [
        ("address", "elsewhere"),
        ("zone", "UTC"),
        ("units", "30"),
        ("boiler_name", "Other"),
        ("since", "2020-01-01"),
        ("output_btu_h", ""),
        ("lowest_safe_line_in", "2"),
    ],
)
def test_rows_that_say_different_things_of_one_building_or_boiler_are_refused(column: str, text: str) -> None:
    assert faults(sheet(row(), row(ref="b", **{column: text}))) == [("differs", (3, column))]


def test_a_sheet_that_can_be_read_but_not_taken_is_answered_422() -> None:
    with pytest.raises(Refused) as refused:
        parse_sheet(sheet(row(zone="Nowhere")), CATALOGUE)
    assert refused.value.status == 422


def test_every_fault_of_the_sheet_is_told_in_the_order_of_its_rows() -> None:
    text = sheet(row(zone="Nowhere"), row(ref="b", since="soon"), row(), row(ref="c", hangs_on="none", units="some"))
    assert {at[0] for _, at in faults(text)} == {2, 3, 4, 5}
    assert [at[0] for _, at in faults(text)] == sorted(at[0] for _, at in faults(text))
