"""A boiler's numbers: what is set, stamped and read, drawn and charted on its page, told on the visit's."""

import csv
import io
import re
from dataclasses import replace
from datetime import timedelta
from html import unescape
from uuid import uuid4

import pytest
from django.test import Client

from fleet.assessments.models import Waiting
from fleet.engineering.calculations import run_calculation
from fleet.portfolio.models import Device, Fitting, Setting
from fleet.terms.models import Adoption
from fleet.visits.incoming import IncomingEntry, IncomingVisit
from fleet.web.boiler.engineering import compute_numbers
from fleet.web.boiler.panels import Cell, Panel, PanelRow
from fleet.web.shared.number_format import to_figures
from tests.cast import DAY, LONG_AGO, NOW, Fleet, make_person
from tests.stories import story
from tests.web.boiler_room import WATER, equip, fit, flue, meter, put_down, visits
from tests.web.conftest import SetClock, SignIn
from tests.web.test_board import Count, read

pytestmark = pytest.mark.django_db


@story
def bare(fleet: Fleet) -> None:
    """Serviced a month ago; the register has what the sheet brings."""
    fleet.post(fleet.serviced(NOW - 30 * DAY))


@story
def full(fleet: Fleet) -> None:
    """A year of monthly readings, everything on record."""
    equip(fleet)
    put_down(fleet, **WATER)
    fleet.post(fleet.serviced(NOW - 400 * DAY), *visits(fleet, NOW - DAY))


def page_of(fleet: Fleet, client: Client) -> str:
    return unescape(read(client, f"/boilers/{fleet.bench().boiler.id}/"))


def article(body: str, title: str) -> str:
    return body.split(f'aria-labelledby="{title}"', 1)[1].split("</article>")[0]


def words(body: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", body).split())


def table(fleet: Fleet, client: Client, code: str) -> list[dict[str, str]]:
    response = client.get(f"/boilers/{fleet.bench().boiler.id}/engineering/{code}.csv")
    assert response.status_code == 200
    return list(csv.DictReader(io.StringIO(response.content.decode(), newline="")))


def panel_code(body: str, title: str) -> str:
    found = re.search(rf'id="panel-([\w-]+)">{title}', body)
    assert found is not None
    return found[1]


# The ladder


def test_the_ladder_says_every_set_point_and_the_newest_trip_against_it(bare: Fleet, rosa: Client) -> None:
    told = words(article(page_of(bare, rosa), "column-pressure"))
    assert "Safety valve 15 psi (103 kPa) 15 psi (103 kPa), at its set point Sat 13 Dec 2025" in told
    assert "High limit 8 psi (55.2 kPa) 7.9 psi (54.5 kPa), 0.1 psi under its set point" in told
    assert "Cut-in 0.5 psi" in told
    assert "Set points in order" in told


def test_a_set_point_changed_by_a_visit_is_what_the_ladder_judges(bare: Fleet, rosa: Client) -> None:
    bench = bare.bench()
    set_up = IncomingEntry(act="set", code="", position=bench.places["limit"], at=NOW - DAY, values={"set_psi": 15.0})
    bare.post(bare.visit(NOW - DAY, [set_up]))
    told = words(article(page_of(bare, rosa), "column-pressure"))
    assert "High limit 15 psi" in told
    assert "Hold The high limit at 15 psi is not under the safety valve at 15 psi." in told


@pytest.mark.parametrize(
    ("hours", "said"), [(-1, "High limit 9 psi"), (0, "High limit 9 psi"), (1, "High limit 8 psi")]
)
def test_a_dated_set_point_counts_from_its_instant(hours: int, said: str, bare: Fleet, rosa: Client) -> None:
    place, since = bare.bench().places["limit"], NOW + timedelta(hours=hours)
    row = {"position_id": place, "key": "set_psi", "value": 9.0, "since": since, "posted_at": NOW}
    Setting.objects.create(portfolio=bare.portfolio, **row)
    assert said in words(article(page_of(bare, rosa), "column-pressure"))


def test_a_rung_not_on_record_is_said_and_not_praised(bare: Fleet, rosa: Client) -> None:
    place = bare.bench().places["limit"]
    device = Device.objects.create(portfolio=bare.portfolio, kind_id="limit_control", attributes={})
    Fitting.objects.create(portfolio=bare.portfolio, position_id=place, device=device, since=NOW - DAY, posted_at=NOW)
    told = words(article(page_of(bare, rosa), "column-pressure"))
    assert "Not on record, so not compared: high limit." in told
    assert "in order" not in told
    assert "Not known" in told


def test_a_set_point_that_cannot_be_is_told_and_the_page_stands(bare: Fleet, rosa: Client) -> None:
    row = {"position_id": bare.bench().places["control"], "key": "differential_psi", "value": 290.0}
    Setting.objects.create(portfolio=bare.portfolio, since=NOW - DAY, posted_at=NOW, **row)
    told = words(article(page_of(bare, rosa), "column-pressure"))
    assert "A set point on record is not possible: -288.5 is not from -14.7 up to 300 psi" in told
    assert "in order" not in told


# Relief and water


def test_the_relief_margin_says_required_stamped_and_its_rule(bare: Fleet, rosa: Client) -> None:
    told = words(article(page_of(bare, rosa), "relief-title"))
    assert "Stamps are enough Required 1,100 lb/h" in told
    assert "output / 1000 Stamped 1,265 lb/h" in told
    assert "Stamped over required 1.15" in told


def test_the_burners_input_stands_for_an_output_that_is_not_on_record(bare: Fleet, rosa: Client) -> None:
    put_down(bare, NOW - DAY, output_btu_h=0)
    assert "Cannot be compared: the boiler's output or its burner's input" in words(
        article(page_of(bare, rosa), "relief-title")
    )
    fit(bare, "burner", "burner", "burner", input_btu_h=1_250_000.0)
    told = words(article(page_of(bare, rosa), "relief-title"))
    assert "Required 1,250 lb/h" in told
    assert "the burner's input stands for the output, which is not on record" in told


def test_the_burners_input_stands_for_an_output_far_under_it(bare: Fleet, rosa: Client) -> None:
    fit(bare, "burner", "burner", "burner", input_btu_h=1_900_000.0)
    told = words(article(page_of(bare, rosa), "relief-title"))
    assert "Required 1,900 lb/h" in told
    assert "the output on record, 1,100,000 Btu/h, which is under 60% of it" in told


def test_a_second_valve_without_a_stamp_is_not_enough(bare: Fleet, rosa: Client) -> None:
    fit(bare, "second-valve", "safety_valve", "safety_valve", set_psi=15.0)
    told = words(article(page_of(bare, rosa), "relief-title"))
    assert "Urgent" in told
    assert "Second valve stamp not on record" in told


@pytest.mark.parametrize(("days", "said"), [(-1, "1,600 lb/h"), (0, "1,600 lb/h"), (1, "1,100 lb/h")])
def test_the_rule_the_portfolio_adopted_counts_from_its_day(days: int, said: str, bare: Fleet, rosa: Client) -> None:
    put_down(bare, heating_surface_ft2=200.0, construction="firetube")
    adopted = {"portfolio": bare.portfolio, "relief_rule": "greater_of", "posted_at": LONG_AGO, "season": "10-01/05-31"}
    Adoption.objects.create(
        version=1, posted_by=None, portfolio=bare.portfolio, posted_at=LONG_AGO, season="10-01/05-31"
    )
    Adoption.objects.create(version=2, starts_on=(NOW + days * DAY).date(), **adopted)
    assert f"Required {said}" in words(article(page_of(bare, rosa), "relief-title"))


def test_the_surface_rule_without_a_surface_says_what_is_missing(bare: Fleet, rosa: Client) -> None:
    more = {"posted_at": LONG_AGO, "season": "10-01/05-31"}
    Adoption.objects.create(version=1, portfolio=bare.portfolio, relief_rule="greater_of", **more)
    assert "the heating surface is not on record" in words(article(page_of(bare, rosa), "relief-title"))


def test_water_times_say_which_data_are_missing(bare: Fleet, rosa: Client) -> None:
    told = words(article(page_of(bare, rosa), "times-title"))
    assert "Not on record: the normal line, the water surface." in told


def test_water_times_are_what_the_register_of_calculations_says(full: Fleet, rosa: Client) -> None:
    asked = {"normal_in": 5.0, "cutoff_in": 2.5, "lowest_in": 1.0, "surface_ft2": 20.0, "output_btu_h": 1_100_000.0}
    out = run_calculation("water_times", {**asked, "pressure_psig": 1.5}).outputs
    told = words(article(page_of(full, rosa), "times-title"))
    assert f"Upper cutoff, 2.5 in (63.5 mm) by its newest drain {to_figures(out['minutes_to_cutoff'], 3)} min" in told
    assert f"{to_figures(out['minutes_to_lowest'], 3)} min more to the lowest safe line" in told


def test_the_caution_about_water_stands_first(bare: Fleet, rosa: Client) -> None:
    told = words(article(page_of(bare, rosa), "times-title"))
    assert told.split("How long the water lasts ")[1].startswith("Never add water to a hot boiler")


# Over time


def test_a_boiler_without_readings_says_so_in_plain_sentences(bare: Fleet, rosa: Client) -> None:
    told = words(page_of(bare, rosa))
    for said in (
        "No flue-gas reading is on record yet",
        "No input has been clocked yet. The burner's name-plate input is not on record.",
        "No make-up meter is on record.",
    ):
        assert said in told
    assert "charts.js" not in read(rosa, f"/boilers/{bare.bench('ALD12 B2').boiler.id}/")


def test_a_flue_gas_row_is_what_the_register_of_calculations_says(full: Fleet, rosa: Client) -> None:
    out = run_calculation("flue_gas", {"o2_percent": 6.0, "stack_f": 370.0, "room_f": 70.0}).outputs
    first = table(full, rosa, "combustion")[1]  # the one before it is of the yearly service
    assert float(first["Efficiency, % gross"]) == out["efficiency_gross_percent"]
    assert (
        float(first["CO air-free, ppm"])
        == run_calculation("co_air_free", {"co_ppm": 40.0, "o2_percent": 6.0}).outputs["air_free_ppm"]
    )


def test_a_hotter_stack_is_said_with_its_slope_and_its_luck(full: Fleet, rosa: Client) -> None:
    told = words(article(page_of(full, rosa), "panel-combustion"))
    assert "Is the stack growing hotter? Rising, 6 F up in 30 days; chance of this by luck alone: under 0.01 %." in told


def test_air_in_the_probe_is_a_row_without_a_result_and_says_why(full: Fleet, rosa: Client) -> None:
    full.post(full.visit(NOW, [flue(full.bench(), NOW, o2_pct=20.5)]))
    last = table(full, rosa, "combustion")[-1]
    assert (last["Efficiency, % gross"], last["CO air-free, ppm"]) == ("", "")
    assert "20.5 is not from 0 up to 18 %" in last["Note"]


def test_a_fuel_not_on_record_is_taken_for_gas_and_said_so(fleet: Fleet, rosa: Client) -> None:
    equip(fleet)
    fleet.post(*visits(fleet, NOW - DAY, 2))
    boiler = fleet.bench().boiler
    dated = {"since": NOW - 30 * DAY, "posted_at": NOW - 30 * DAY, "portfolio_id": boiler.portfolio_id}
    Setting.objects.create(boiler=boiler, key="fuel", value="", **dated)
    assert "natural gas, assumed because the fuel is not on record" in article(page_of(fleet, rosa), "panel-combustion")


def test_the_input_is_held_against_the_plate(full: Fleet, rosa: Client) -> None:
    told = words(article(page_of(full, rosa), "panel-input"))
    assert "Does it fire what its plate says?" in told
    assert "The burner fires 10.2% over the name plate" in told


def test_a_register_that_rolled_over_is_noted_and_its_use_known(full: Fleet, rosa: Client) -> None:
    code = panel_code(page_of(full, rosa), "Make up meter")
    noted = [(r["Used, gal"], r["Note"]) for r in table(full, rosa, code) if r["Note"]]
    assert noted == [("124.0", "rolled over")]


def test_a_jump_in_make_up_is_said_with_what_is_usual(full: Fleet, rosa: Client) -> None:
    code = panel_code(page_of(full, rosa), "Make up meter")
    told = words(article(page_of(full, rosa), f"panel-{code}"))
    assert "Is it using more water than it used to? A jump. Newest: 27.5 gal a day" in told


def test_a_replaced_meter_breaks_the_count_and_the_next_period_is_known(full: Fleet, rosa: Client) -> None:
    bench, at = full.bench(), NOW - DAY / 2
    new = IncomingEntry(
        act="replace", code="", position=bench.places["make-up-meter"], at=at, kind="makeup_meter", reason="stuck"
    )
    full.post(full.visit(at, [new]))
    full.post(full.visit(NOW - DAY / 4, [meter(bench, NOW - DAY / 4, 3.0)]))
    code = panel_code(page_of(full, rosa), "Make up meter")
    last = table(full, rosa, code)[-1]
    assert (last["Used, gal"], last["Note"]) == ("", "meter replaced")


def test_a_corrected_reading_no_longer_counts(full: Fleet, rosa: Client) -> None:
    before = len(table(full, rosa, "combustion"))
    wrong = full.visit(NOW, [flue(full.bench(), NOW, stack_f=900.0)])
    full.post(wrong)
    assert len(table(full, rosa, "combustion")) == before + 1
    mended = replace(wrong, id=uuid4(), entries=(flue(full.bench(), NOW),), corrects=wrong.id, reason="misread")
    full.post(mended)
    assert [r["Stack, F"] for r in table(full, rosa, "combustion")][before:] == ["390.0"]


def test_a_correction_that_waits_for_its_second_name_has_no_effect_yet(full: Fleet, rosa: Client) -> None:
    wrong = full.visit(NOW, [flue(full.bench(), NOW, stack_f=900.0)])
    full.post(wrong)
    mended = replace(wrong, id=uuid4(), entries=(flue(full.bench(), NOW),), corrects=wrong.id, reason="misread")
    full.post(mended)
    Waiting.objects.create(id=mended.id, visit_id=mended.id, boiler=full.bench().boiler, portfolio=full.portfolio)
    assert [r["Stack, F"] for r in table(full, rosa, "combustion")][-1] == "900.0"


def test_a_trip_is_held_against_what_was_set_when_it_was_read(bare: Fleet, rosa: Client) -> None:
    bench = bare.bench()
    lower = IncomingEntry(act="set", code="", position=bench.places["limit"], at=NOW - DAY, values={"set_psi": 7.0})
    bare.post(bare.visit(NOW - DAY, [lower]))
    rows = table(bare, rosa, f"trips-{bench.places['limit']}")
    assert [(r["Tripped at, psi"], r["Set at, psi"]) for r in rows] == [("7.9", "8.0")]


def test_text_that_could_be_a_formula_is_text_in_a_download() -> None:
    panel = Panel("x", "x", ("Note", "Off"), (PanelRow(NOW, uuid4(), 1, (Cell("=1+1"), Cell("-1", -1.0))),), ())
    assert panel.as_csv("America/New_York").splitlines()[1].endswith(",1,'=1+1,-1.0")


# Who may


def test_who_may_not_read_visits_sees_set_points_and_no_reading(full: Fleet, sign_in: SignIn, clock: SetClock) -> None:
    office = sign_in(make_person("otto", full.portfolio, "office"))
    body = page_of(full, office)
    assert "High limit 8 psi" in words(article(body, "column-pressure"))
    assert "7.9 psi" not in body
    assert "You do not have access to the readings of visits." in body
    assert office.get(f"/boilers/{full.bench().boiler.id}/engineering/combustion.csv").status_code == 404


def test_a_download_is_only_for_who_sees_the_boiler(full: Fleet, sign_in: SignIn, clock: SetClock) -> None:
    path = f"/boilers/{full.bench().boiler.id}/engineering/combustion.csv"
    assert sign_in(full.outsider).get(path).status_code == 404
    assert Client().get(path).status_code == 302
    rosa = sign_in(full.technician)
    assert rosa.get(path)["Content-Disposition"] == 'attachment; filename="ALD12-B1-combustion.csv"'
    assert rosa.get(path.replace("combustion", "luck")).status_code == 404


# The visit's page


def derived(body: str, code: str, visit: IncomingVisit) -> str:
    number = [e.code for e in visit.entries].index(code) + 1
    return words(body.split(f'id="entry-{number}"')[1].split("</li>")[0].split('class="derived">')[1].split("</p>")[0])


def test_a_visit_says_what_its_readings_come_to(full: Fleet, rosa: Client) -> None:
    visit = visits(full, NOW - DAY)[-1]
    body = unescape(read(rosa, f"/visits/{visit.id}/"))
    assert re.fullmatch(
        r"Carbon monoxide air-free: \d+ ppm\. Excess air [\d.]+ %\. Up the stack [\d.]+ %, "
        r"efficiency [\d.]+ % of gross heating value, natural gas\.",
        derived(body, "combustion_test", visit),
    )
    assert derived(body, "clock_input", visit) == "Input 1,515,250 Btu/h, 110 % of the plate."
    assert derived(body, "meter_reading", visit) == "27.5 gal a day over 30 days."


def test_a_first_meter_reading_has_nothing_to_compare_with(full: Fleet, rosa: Client) -> None:
    visit = visits(full, NOW - DAY)[0]
    told = derived(unescape(read(rosa, f"/visits/{visit.id}/")), "meter_reading", visit)
    assert told == "This is the first reading of this meter that counts, so there is nothing to compare it with yet."


def test_a_trip_entry_says_how_far_it_was_from_its_set_point(bare: Fleet, rosa: Client) -> None:
    visit = bare.serviced(NOW - 30 * DAY)
    body = unescape(read(rosa, f"/visits/{visit.id}/"))
    assert derived(body, "limit_trip", visit) == "0.1 psi under its set point."
    assert derived(body, "operating_control_trip", visit) == "0.1 psi over its set point."
    assert derived(body, "slow_drain", visit) == "0.5 in over the lowest safe line."


def test_a_visit_that_measures_nothing_says_nothing_more(fleet: Fleet, rosa: Client) -> None:
    visit = fleet.flushed(NOW - DAY)
    fleet.post(visit)
    assert 'class="derived"' not in read(rosa, f"/visits/{visit.id}/")


# places, newest entries, their readings, settings, fittings with devices; the terms
MORE = 6


@pytest.mark.parametrize("count", [2, 12])
def test_the_numbers_cost_six_queries_however_many_readings(
    count: int, fleet: Fleet, rosa: Client, django_assert_num_queries: Count
) -> None:
    equip(fleet)
    fleet.post(*visits(fleet, NOW - DAY, count))
    boiler = fleet.bench().boiler
    assert boiler.building.zone
    with django_assert_num_queries(MORE):
        compute_numbers(boiler, NOW, True)
