"""Numbers, dates and paths of a register sheet; and how long a large one takes."""

import time

import pytest

from fleet.sheets.register_sheet import is_measured, is_possible, parse_sheet
from tests.portfolio.sheets import CATALOGUE, CELLS, LIMIT, cell, faults, row, sheet

pytestmark = pytest.mark.timeout(60)
NO_NUMBERS = [
    "nan",
    "inf",
    "-inf",
    "Infinity",
    "1e999",
    "1e3",
    "-1",
    "1_000",
    "1,5",
    "٣",
    "0x10",
    "eight",
    "8 psi",
    ".",
]


@pytest.mark.parametrize("text", [t for t in NO_NUMBERS if "," not in t])
@pytest.mark.parametrize("column", ["units", "output_btu_h"])
def test_what_is_no_number_that_can_be_is_refused(column: str, text: str) -> None:
    assert faults(sheet(row(**{column: text}))) == [("not_a_number", (2, column))]


@pytest.mark.parametrize("text", [*(t for t in NO_NUMBERS if "," not in t), "300.01", '"8,5"', "9" * 400])
def test_a_set_point_that_cannot_be_is_refused(text: str) -> None:
    code = "too_long" if len(text) > 64 else "not_a_number"
    assert faults(sheet(row(**{**LIMIT, "set_psi": text})))[0] == (code, (2, "set_psi"))


@pytest.mark.parametrize("text", ["0", "8", "8.25", "60", "007"])
def test_a_set_point_that_can_be_is_read(text: str) -> None:
    assert parse_sheet(sheet(row(**{**LIMIT, "set_psi": text})), CATALOGUE)[0].attributes == (("set_psi", float(text)),)


@pytest.mark.parametrize("text", ["30.5", "100001"])
def test_dwelling_units_are_whole_and_not_a_city(text: str) -> None:
    assert faults(sheet(row(units=text))) == [("not_a_number", (2, "units"))]


@pytest.mark.parametrize("word", ["nan", "inf", "1e999", "8", "manual"])
def test_a_word_stays_a_word_though_it_looks_like_a_number(word: str) -> None:
    read = parse_sheet(sheet(row(**{**LIMIT, "set_psi": "", "reset": word})), CATALOGUE)
    assert read[0].attributes == (("reset", word),)


@pytest.mark.parametrize("column", ["since", "fitted_on"])
@pytest.mark.parametrize(
    "text",
    [
        "01/10/2019",
        "2019-13-01",
        "2019-02-29",
        "20191001",
        "2019-W40-2",
        "2019-10-01T00:00",
        "0001-01-01",
        "9999-12-31",
        "1849-12-31",
        "2100-01-01",
        "٢٠١٩-10-01",
        "soon",
    ],
)
def test_what_is_no_date_is_refused(column: str, text: str) -> None:
    assert faults(sheet(row(**{column: text}))) == [("not_a_date", (2, column))]


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        ("set_psi", 0, 300),
        ("trip_in", -5, 500),
        ("capacity_lb_h", 0, 25_000),
        ("output_btu_h", 0, 1e9),
        ("fixed_delay_s", 0, 3600),
        ("units", 0, 1e5),
    ],
)
def test_a_range_holds_its_two_ends_and_nothing_beyond(name: str, low: float, high: float) -> None:
    assert is_possible(name, low) is True
    assert is_possible(name, high) is True
    assert not any(is_possible(name, v) for v in (low - 0.1, high + 0.1, float("nan"), float("inf")))


@pytest.mark.parametrize("name", ["address", "hangs_on", "reset", "kind", "fitted_on", "since", "differential_sense"])
def test_a_column_without_a_unit_holds_no_number(name: str) -> None:
    assert not is_measured(name)


def test_every_attribute_of_the_catalogue_is_measured_or_known_to_be_a_word() -> None:
    # A new unit of measure needs its range in the sheet before an attribute may end with it.
    words = {"reset", "principle", "sense", "differential_sense", "leak_limit", "louvre", "unit", "serial"}
    days = {"fitted_on", "end_of_life"}
    attributes = {a for kind in CATALOGUE.kinds.values() for a in kind.attributes}
    assert {a for a in attributes if not is_measured(a)} <= words | days


def path(ref: str, hangs_on: str = "", **cells: str) -> str:
    return row(ref=ref, hangs_on=hangs_on, **cells)


def test_a_path_of_paths_is_read() -> None:
    text = sheet(path("a", "b|c"), path("b", "c"), path("c"))
    assert [r.hangs_on for r in parse_sheet(text, CATALOGUE)] == [("b", "c"), ("c",), ()]


def test_a_path_named_twice_is_one() -> None:
    assert parse_sheet(sheet(path("a", "b| b ||b"), path("b")), CATALOGUE)[0].hangs_on == ("b",)


def test_a_path_that_is_not_there_is_refused() -> None:
    assert faults(sheet(path("a", "b"))) == [("unknown_path", (2, "hangs_on"))]


def test_a_path_on_another_boiler_is_refused() -> None:
    assert faults(sheet(path("a", "b"), path("b", boiler_ref="B2"))) == [("unknown_path", (2, "hangs_on"))]


def test_a_device_that_carries_no_signal_is_no_path() -> None:
    assert faults(sheet(path("a", "limit"), row(**LIMIT))) == [("not_a_path", (2, "hangs_on"))]


@pytest.mark.parametrize(
    ("rows", "at"),
    [
        ([path("a", "a")], [2]),
        ([path("a", "b"), path("b", "a")], [2, 3]),
        ([path("a", "b"), path("b", "c"), path("c", "a"), path("d")], [2, 3, 4]),
        ([path("into", "a"), path("a", "b"), path("b", "a|out"), path("out")], [2, 3, 4]),
    ],
)
def test_paths_that_run_in_a_circle_are_refused(rows: list[str], at: list[int]) -> None:
    assert faults(sheet(*rows)) == [("path_loops", (n, "hangs_on")) for n in at]


def seconds(text: str) -> float:
    start = time.process_time()
    faults(text)
    return time.process_time() - start


def houses(count: int) -> str:
    """A house a row pair: a float chamber and the limit."""
    rows = ((path("chamber", building_ref=f"H{n}"), row(**LIMIT, building_ref=f"H{n}")) for n in range(count))
    return sheet(*(line for pair in rows for line in pair))


def test_five_thousand_buildings_are_read_in_seconds() -> None:
    took = seconds(houses(5000))
    print(f"5,000 buildings, 10,000 rows: {took:.2f} s")
    assert took < 10


def test_ten_times_the_buildings_take_about_ten_times_as_long() -> None:
    """The better of several runs each: a moment in which the machine did something else is not the sheet's."""
    small, large = (min(seconds(houses(n)) for _ in range(runs)) for n, runs in ((300, 5), (3000, 2)))
    print(f"300 buildings {small:.3f} s, 3,000 buildings {large:.3f} s")
    assert large < 40 * small


@pytest.mark.parametrize("last", ["", "p0"])
def test_a_chain_of_twenty_thousand_paths_is_followed_once(last: str) -> None:
    rows = [path(f"p{n}", f"p{n + 1}") for n in range(19_999)]
    assert seconds(sheet(*rows, path("p19999", last))) < 10


def test_a_large_sheet_that_is_wrong_everywhere_is_refused_in_seconds() -> None:
    took = seconds(houses(5000).replace("America/New_York", "America/Nowhere").replace("2019-10-01", "2019-10-32"))
    assert took < 20


WHOLE = {
    "fuel": "oil_2",
    "construction": "firetube",
    "firing": "oil_gas",
    "heats": "no",
    "normal_line_in": "4",
    "water_surface_ft2": "18.5",
    "heating_surface_ft2": "240",
    "cutoffs_needed": "1",
    "cutoffs_rule": "City rule 12 of 3 March 2019 by J. Odell",
}


def with_more(**more: str) -> str:
    """A sheet with these columns beside the usual ones."""
    told = {**CELLS, **{cell(name): text for name, text in LIMIT.items()}, **more}
    return f"{','.join(told)}\n{','.join(told.values())}\n"


def test_what_is_on_record_of_the_boiler_as_a_whole_is_read() -> None:
    read = dict(parse_sheet(with_more(**WHOLE), CATALOGUE)[0].on_boiler)
    assert read == {**read, "fuel": "oil_2", "heats": False, "water_surface_ft2": 18.5, "cutoffs_needed": 1.0}
    assert read["cutoffs_rule"].startswith("City rule 12")  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("column", "text", "code", "place"),
    [
        ("fuel", "coal", "unknown_choice", "fuel"),
        ("heats", "maybe", "unknown_choice", "heats"),
        ("cutoffs_needed", "0", "unknown_choice", "cutoffs_needed"),
        ("cutoffs_needed", "1", "empty", "cutoffs_rule"),
        ("cutoffs_rule", "", "empty", "cutoffs_rule"),
        ("heating_surface_ft2", "-1", "not_a_number", "heating_surface_ft2"),
    ],
)
def test_what_cannot_be_of_a_boiler_is_refused_in_its_column(column: str, text: str, code: str, place: str) -> None:
    assert faults(with_more(**({} if column == "cutoffs_needed" else WHOLE) | {column: text})) == [(code, (2, place))]


EMPTY = {"kind": "", "fitted_on": "", "needed": "no", "not_needed_because": "The owner on 12 Sep 2023."}


def with_places(*places: dict[str, str]) -> str:
    """A sheet of empty places that need not be filled, but for what each says otherwise."""
    return table(*({**CELLS, "position_ref": f"place {n}", **EMPTY, **place} for n, place in enumerate(places)))


def table(*rows: dict[str, str]) -> str:
    """A sheet with every column of its first row."""
    return "".join(",".join(cells) + "\n" for cells in (rows[0].keys(), *(r.values() for r in rows)))


@pytest.mark.parametrize("role", sorted({r for n in CATALOGUE.needed_roles if not n.none_allowed for r in n.roles}))
def test_what_every_boiler_needs_cannot_be_left_out(role: str) -> None:
    assert faults(with_places({"role": role})) == [("always_needed", (2, "needed"))]


@pytest.mark.parametrize("role", ["co_alarm", "spill_switch", "air_proving", "combustion_air", "feeder"])
def test_what_the_catalogue_lets_be_none_here_is_left_out_with_its_reason(role: str) -> None:
    assert faults(with_places({"role": role})) == []
    assert faults(with_places({"role": role, "not_needed_because": ""})) == [("empty", (2, "not_needed_because"))]


def test_a_spare_place_is_left_out_beside_one_that_is_counted_on() -> None:
    fitted = {"role": "safety_valve", "kind": "safety_valve", "fitted_on": "2019-10-01", "needed": ""}
    assert faults(with_places({"role": "safety_valve"}, {**fitted, "not_needed_because": ""})) == []


@pytest.mark.parametrize(
    ("cutoffs", "found"), [({"cutoffs_needed": "1", "cutoffs_rule": "a city rule"}, 0), ({"cutoffs_needed": "2"}, 1)]
)
@pytest.mark.parametrize(("kept", "left_out"), [("lower_cutoff", "upper_cutoff"), ("upper_cutoff", "lower_cutoff")])
def test_a_second_cutoff_is_left_out_only_where_one_is_enough(
    cutoffs: dict[str, str], found: int, kept: str, left_out: str
) -> None:
    fitted = {"role": kept, "kind": "probe_cutoff", "fitted_on": "2019-10-01", "needed": "", "not_needed_because": ""}
    text = with_places({"cutoffs_rule": "", **cutoffs, "role": left_out}, {**fitted, "cutoffs_rule": "", **cutoffs})
    assert faults(text) == [("always_needed", (2, "needed"))] * found
