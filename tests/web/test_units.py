"""Units follow the reader: numbers, columns, charts and drawings; and no rounding hides that a limit is passed."""

import re
from math import isclose

import pytest
from django.test import Client
from hypothesis import example, given
from hypothesis import strategies as st

from fleet.engineering.units import UNITS, convert, si_unit
from fleet.web.shared.number_format import (
    LIMITS,
    SI,
    US,
    guard_figures,
    in_both_units,
    in_brief,
    in_reader_units,
    use_units,
    with_si,
)
from tests.cast import DAY, NOW, Fleet
from tests.web.test_board import read

PSI = st.floats(0.01, 100).map(lambda value: round(value, 6))
SIZES = st.floats(-1e6, 1e6).filter(lambda value: abs(value) > 1e-3)


def spoken(text: str) -> float:
    return float(text.replace(",", ""))


@given(PSI, st.integers(1, 4))
@example(15.0, 3)
@example(15.01, 3)
@example(15.0001, 1)
@example(14.9999, 2)
def test_a_pressure_over_the_limit_never_reads_as_one_within_it(psi: float, count: int) -> None:
    for text, unit in ((in_both_units(psi, "psi", count).value, "psi"), (in_both_units(psi, "psi", count).si, "kPa")):
        assert (spoken(text) > LIMITS[unit]) == (psi > 15.0)


def test_what_no_figures_can_tell_from_the_limit_is_said_in_words() -> None:
    beyond = 15.0 + 2e-15
    assert beyond > 15.0
    assert guard_figures(beyond, "psi", 3) == "just over 15"


@given(SIZES, st.sampled_from(sorted(UNITS)))
def test_every_unit_goes_to_si_and_back(value: float, unit: str) -> None:
    there = float(convert(value, unit, si_unit(unit)))
    assert isclose(float(convert(there, si_unit(unit), unit)), value, rel_tol=1e-9, abs_tol=1e-6)


@given(SIZES, st.sampled_from(sorted(UNITS)))
def test_each_choice_shows_its_own_unit_and_the_same_quantity(value: float, unit: str) -> None:
    both = in_both_units(value, unit, 6)
    with use_units(lambda: US):
        assert (in_reader_units(value, unit, 6).value, in_reader_units(value, unit, 6).si) == (both.value, "")
    with use_units(lambda: SI):
        alone = in_reader_units(value, unit, 6)
    assert (alone.value, alone.si) == (both.si or both.value, "")
    assert isclose(spoken(alone.value), float(convert(value, unit, si_unit(unit))), rel_tol=1e-4, abs_tol=1e-3)


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("The high limit is set at 15.01 psi, over 15.", "The high limit is set at 15.01 psi (103.5 kPa), over 15."),
        ("It trips at 1 in: too low to protect.", "It trips at 1 in (25.4 mm): too low to protect."),
        ("Make-up of 3.0 gal a day: over twice.", "Make-up of 3.0 gal a day (11.4 L/day): over twice."),
        ("2000 lb/h are needed for 1,600,000 Btu/h.", "2000 lb/h (907 kg/h) are needed for 1,600,000 Btu/h (469 kW)."),
        ("Seen on 3 in the cellar of number 12.", "Seen on 3 in the cellar of number 12."),
    ],
)
def test_a_sentence_of_the_rules_keeps_its_figures_and_gains_si_behind_them(said: str, told: str) -> None:
    assert with_si(said) == said
    with use_units(lambda: SI):
        assert with_si(said) == told


def test_a_number_alone_is_in_the_trades_unit_unless_si_was_chosen() -> None:
    assert in_brief(8.0, "psi") == "8 psi"
    with use_units(lambda: SI):
        assert in_brief(8.0, "psi") == "55.2 kPa"


@pytest.mark.django_db
def test_who_chooses_si_sees_it_on_the_boiler_and_downloads_stay_in_us(fleet: Fleet, rosa: Client) -> None:
    fleet.post(fleet.serviced(NOW - 400 * DAY), fleet.serviced(NOW - 30 * DAY))
    address = f"/boilers/{fleet.bench().boiler.id}/"
    panel = f"trips-{fleet.bench().places['limit']}"
    before = rosa.get(f"{address}engineering/{panel}.csv").content
    assert rosa.post("/account/units/", {"units": "si"}).status_code == 302
    assert 'value="si" checked' in read(rosa, "/account/")
    body = read(rosa, address)
    assert "High limit, set at 55.2 kPa, tripped last at 54.5 kPa" in body
    assert '<td data-label="Set">55.2 kPa</td>' in body
    table = body.split(f'id="table-{panel}"')[1].split("</table>")[0]
    drawn = re.search(r'data-label="Tripped at, kPa" data-value="([\d.]+)">54.5<', table)
    assert drawn is not None
    assert float(drawn[1]) == pytest.approx(7.9 * 6.894757, rel=1e-6)
    assert 'data-unit="kPa"' in body
    assert "psi (" not in body.split('id="columns"')[1]
    assert rosa.get(f"{address}engineering/{panel}.csv").content == before
    assert b"Tripped at, psi" in before


@pytest.mark.django_db
def test_us_alone_leaves_si_out_and_no_other_units_can_be_chosen(fleet: Fleet, rosa: Client) -> None:
    address = f"/boilers/{fleet.bench().boiler.id}/"
    assert "8 psi (55.2 kPa)" in read(rosa, address)
    assert rosa.post("/account/units/", {"units": "x"}).status_code == 404
    rosa.post("/account/units/", {"units": "us"})
    body = read(rosa, address)
    assert "8 psi" in body
    assert "kPa" not in body
