"""The calculator: asked by an address, answered with units and words, faults beside their fields, for everybody."""

import re
from collections.abc import Callable, Iterator
from html import unescape
from typing import Any
from urllib.parse import urlencode

import pytest
from django.test import Client
from playwright.sync_api import Browser, Page, expect

from fleet.engineering.calculations import CALCULATIONS, run_calculation
from fleet.web.shared.number_format import in_reader_units, to_figures
from tests.cast import Fleet, make_fleet
from tests.web.conftest import take_session
from tests.web.test_board import Count, read

pytestmark = pytest.mark.django_db
FLUE_GAS = {"o2_percent": "6.2", "stack_f": "395", "room_f": "72", "fuel": "natural_gas"}
Enter = Callable[..., Page]


@pytest.fixture
def enter(transactional_db: Any, live_server: Any, browser: Browser) -> Iterator[Enter]:
    """Open a page as the technician; what pages complain of on their console fails the test."""
    fleet = make_fleet()
    complaints: list[str] = []

    def entered(address: str, width: int = 1280, theme: str = "light", script: bool = True) -> Page:
        context = browser.new_context(
            viewport={"width": width, "height": 900}, color_scheme=theme, java_script_enabled=script
        )
        page = context.new_page()
        page.on("console", lambda m: complaints.append(m.text) if m.type in ("error", "warning") else None)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        take_session(context, fleet.technician, live_server.url)
        page.goto(live_server.url + address)
        return page

    yield entered
    assert complaints == []


def ask(client: Client, code: str, **fields: Any) -> str:
    return unescape(read(client, f"/calculator/{code}/?{urlencode(fields)}"))


def field(body: str, name: str) -> str:
    return body.split(f'id="{name}"')[1].split('<div class="field">')[0]


def outputs(body: str) -> dict[str, str]:
    result = body.split('id="result"')[1].split('id="how"')[0].split(">With<")[0]
    found = re.findall(r"<dt>(.*?)</dt><dd>(.*?)</dd>", result, re.DOTALL)
    return {label: " ".join(re.sub(r"<[^>]+>", " ", value).split()) for label, value in found}


def test_every_calculation_can_be_chosen(rosa: Client) -> None:
    body = read(rosa, "/calculator/")
    assert [code for code in CALCULATIONS if f'href="/calculator/{code}/"' not in body] == []


@pytest.mark.parametrize("code", CALCULATIONS)
def test_every_calculation_has_its_fields_and_words(code: str, rosa: Client) -> None:
    body = ask(rosa, code)
    known = CALCULATIONS[code]
    assert [i.name for i in known.inputs if f'name="{i.name}"' not in body] == []
    assert [words for words in (known.formula, known.source, known.caution) if words not in body] == []


def test_an_unknown_calculation_is_not_there(rosa: Client) -> None:
    assert rosa.get("/calculator/luck/").status_code == 404


def test_nothing_asked_is_nothing_answered(rosa: Client) -> None:
    body = ask(rosa, "flue_gas")
    assert "The result appears here." in body
    assert 'role="alert"' not in body


def test_an_address_is_answered_with_what_the_register_computes(rosa: Client) -> None:
    told = outputs(ask(rosa, "flue_gas", **FLUE_GAS))
    expected = run_calculation("flue_gas", {"o2_percent": 6.2, "stack_f": 395.0, "room_f": 72.0}).outputs
    assert told["Efficiency, gross"] == f"{to_figures(expected['efficiency_gross_percent'])} %"
    assert told["Water condenses under"].startswith(f"{to_figures(expected['dew_point_f'])} F ")


def test_si_stands_beside(rosa: Client) -> None:
    assert outputs(ask(rosa, "pressure_at_boiling", temperature_f="250"))["Gauge pressure"].endswith(" kPa")
    assert "(-40 to 704.4 C)" in field(ask(rosa, "flue_gas"), "stack_f-hint")


def test_a_dangerous_ladder_is_answered_with_hold_and_its_reasons(rosa: Client) -> None:
    body = ask(rosa, "ladder", cut_in_psi=1, cut_out_psi=4, limit_psi=15, valve_psi=15)
    assert '<span class="level level-hold">Hold</span>' in body
    assert "The high limit at 15 psi is not under the safety valve at 15 psi." in body


def test_an_unknown_rung_goes_by_its_label(rosa: Client) -> None:
    told = outputs(ask(rosa, "ladder", cut_out_psi=2, limit_psi=8, valve_psi=15))
    assert told["Not known"] == "Cut-in"


def test_a_fault_stands_beside_its_field_and_in_the_summary(rosa: Client) -> None:
    body = ask(rosa, "flue_gas", **{**FLUE_GAS, "o2_percent": "20.9", "stack_f": "hot"})
    assert 'id="result"' not in body
    assert "20.9 is not from 0 up to 18 %" in field(body, "o2_percent-fault")
    assert "“hot” is not a number." in field(body, "stack_f-fault")
    assert (body.count('<li><a href="#o2_percent">'), body.count('aria-invalid="true"')) == (1, 2)


def test_what_was_typed_stays_in_its_field(rosa: Client) -> None:
    assert 'value="20.9"' in field(ask(rosa, "flue_gas", **{**FLUE_GAS, "o2_percent": "20.9"}), "o2_percent")


def test_a_field_left_empty_is_missing_or_taken_as_usual(rosa: Client) -> None:
    body = ask(rosa, "flue_gas", o2_percent="", stack_f="395", room_f="72", fuel="")
    assert "This is needed." in field(body, "o2_percent-fault")
    assert 'id="fuel-fault"' not in body


@pytest.mark.parametrize(
    ("typed", "taken"), [("55 kPa", "7.977"), ("55kPa", "7.977"), ("8 psi", "8"), ("+8.0", "8"), ("8e0", "8")]
)
def test_a_number_may_come_in_another_unit(typed: str, taken: str, rosa: Client) -> None:
    with_these = ask(rosa, "limit_trip", trip_psi=typed, set_psi="8").split(">With<")[1]
    assert f"<dt>Tripped at</dt><dd><span>{taken} psi" in with_these


def test_a_number_may_have_its_thousands_apart(rosa: Client) -> None:
    told = outputs(ask(rosa, "rating", gross_btu_h="1,100,000"))
    assert told["Radiation, gross"].startswith("4,583 ft2")


@pytest.mark.parametrize("typed", ["nan", "inf", "1e999", "3,5", "8 stone", "--8", "e5", ".", "8 F", "٣"])
def test_what_is_no_number_is_refused_beside_its_field(typed: str, rosa: Client) -> None:
    body = ask(rosa, "limit_trip", trip_psi=typed, set_psi="8")
    assert 'id="trip_psi-fault"' in body
    assert 'id="result"' not in body


def test_a_list_is_written_apart_by_spaces_and_a_gap_as_a_question_mark(rosa: Client) -> None:
    told = outputs(ask(rosa, "relief_margin", output_btu_h="1,100,000", stamped_lb_h="632 ; 633"))
    assert told["Stamped over required"] == "1.15"
    body = ask(rosa, "relief_margin", output_btu_h="1100000", stamped_lb_h="632 ?")
    assert "A stamped capacity is not known" in body


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("900,500", "“900,500” may be one number, 900500, or 2 numbers, 900 and 500. Write 900500 or 900 500."),
        ("900,50", "“900,50” may be one number, 90050, or 2 numbers, 900 and 50. Write 90050 or 900 50."),
        ("750 900,500", "“900,500” may be one number, 900500, or 2 numbers, 900 and 500. Write 900500 or 900 500."),
        ("900,?", "“900,?” has a comma between values. Write 900 ?."),
        ("900,", "“900,” has a comma that parts nothing."),
    ],
)
def test_a_doubtful_comma_in_a_list_is_refused_with_both_readings(typed: str, said: str, rosa: Client) -> None:
    body = ask(rosa, "relief_margin", output_btu_h="1400000", stamped_lb_h=typed)
    assert said in field(body, "stamped_lb_h")
    assert 'class="result"' not in body


@pytest.mark.parametrize("typed", ["900 500", "900, 500", "900;500"])
def test_numbers_of_a_list_are_apart_by_spaces_commas_with_a_space_or_semicolons(typed: str, rosa: Client) -> None:
    assert outputs(ask(rosa, "relief_margin", output_btu_h="1400000", stamped_lb_h=typed))["Stamped together"] == (
        "1,400 lb/h 635 kg/h"
    )


def test_what_is_assumed_is_said_in_words(rosa: Client) -> None:
    body = ask(rosa, "gas_input", dial_ft3="2", seconds="18", plate_btu_h="400000")
    assumed = body.split(">Assumed<")[1].split(">With<")[0]
    assert "The meter compensates for pressure and temperature, factor 1." in assumed
    assert "The gas is natural gas." in assumed
    assert ">Assumed<" not in ask(rosa, "co_air_free", co_ppm="50", o2_percent="7")


def test_a_fault_in_a_list_says_which(rosa: Client) -> None:
    body = ask(rosa, "relief_margin", output_btu_h="1100000", stamped_lb_h="632 -1")
    assert "Number 2: -1 is not over 0" in field(body, "stamped_lb_h-fault")


def test_unknown_and_repeated_names_are_refused(rosa: Client) -> None:
    body = unescape(read(rosa, "/calculator/rating/?gross_btu_h=1000000&gross_btu_h=2&draft=1"))
    assert "draft: this is not an input of this calculation." in body
    assert "Enter this only once." in field(body, "gross_btu_h-fault")


def test_markup_in_an_address_stays_text(rosa: Client) -> None:
    assert "<script>alert" not in read(rosa, "/calculator/rating/?gross_btu_h=%22%3E%3Cscript%3Ealert(1)%3C/script%3E")


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (1_100_000.0, "1,100,000"),
        (0.012345, "0.01235"),
        (0.0, "0"),
        (-3.25, "-3.25"),
        (99_999.6, "100,000"),
        (212.0, "212"),
    ],
)
def test_a_figure_has_as_many_digits_as_it_is_worth(value: float, said: str) -> None:
    assert to_figures(value) == said


def test_a_bare_number_has_no_other_unit() -> None:
    assert in_reader_units(2.0, "").si == ""
    assert in_reader_units(50.0, "%").si == ""
    assert in_reader_units(212.0, "F").si == "100"


def test_an_answer_asks_the_database_only_who_is_asking(
    fleet: Fleet, rosa: Client, django_assert_num_queries: Count
) -> None:
    with django_assert_num_queries(2):  # session, user
        rosa.get(f"/calculator/flue_gas/?{urlencode(FLUE_GAS)}")


def test_from_the_list_to_a_result_by_keyboard_without_a_script(enter: Enter) -> None:
    page = enter("/calculator/", script=False)
    page.get_by_role("link", name="Carbon monoxide air-free").focus()
    page.keyboard.press("Enter")
    page.get_by_label("Carbon monoxide as read").focus()
    page.keyboard.type("120")
    page.keyboard.press("Tab")
    page.keyboard.type("9")
    page.keyboard.press("Enter")
    expect(page.locator(".result")).to_contain_text("210.8 ppm")
    assert "co_ppm=120&o2_percent=9" in page.url


def test_a_fault_in_the_summary_leads_to_its_field(enter: Enter) -> None:
    page = enter("/calculator/rating/?gross_btu_h=0")
    page.get_by_role("alert").get_by_role("link", name="Gross output").click()
    expect(page.get_by_label("Gross output")).to_be_focused()
