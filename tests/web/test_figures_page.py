"""Figures: each chart answers its question with a table and a download; without data it says so in words."""

import csv
import io
import re
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from fleet.engineering.shares import share_of
from fleet.figures import makeup
from fleet.figures.failure_counts import FailureCounts, failure_counts_by_kind, failures_by_kind
from fleet.portfolio.models import Boiler
from fleet.web.figures.figures_page import CHARTS
from tests import kept
from tests.cast import DAY, NOW, Fleet, make_fleet
from tests.web.boiler_room import fit, meter
from tests.web.conftest import SetClock, SignIn
from tests.web.test_board import Count, read

pytestmark = pytest.mark.django_db


def two_months() -> Fleet:
    fleet = make_fleet()
    fit(fleet, "make-up-meter", "makeup_meter", "makeup_meter", rolls_over_gal=100_000)
    fleet.post(fleet.serviced(NOW - 60 * DAY))
    fleet.post(fleet.flushed(NOW - 40 * DAY, burner_stopped=False))
    fleet.post(fleet.repaired(NOW - 30 * DAY))
    bench = fleet.bench()
    for n, value in ((90, 1000.0), (60, 1300.0), (30, 1900.0)):
        at = NOW - n * DAY
        fleet.post(bench.compose_visit("routine_check", at, [fleet.technician.id], [meter(bench, at, value)]))
    return fleet


@pytest.fixture
def fleet(db: Any, request: pytest.FixtureRequest) -> Fleet:
    """As made, or as `told`."""
    return kept.once("told by charts", two_months) if "told" in request.fixturenames else make_fleet()


@pytest.fixture
def told(fleet: Fleet) -> Fleet:
    """Serviced two months ago; a flush that failed, repaired ten days later; a meter read every thirty days."""
    return fleet


def chart(body: str, code: str) -> str:
    return body.split(f'id="{code}"')[1].split("</section>")[0]


def rows(body: str, code: str) -> list[list[str]]:
    """The table of a chart as texts."""
    table = chart(body, code).split("<tbody>")[1].split("</tbody>")[0]
    return [re.findall(r">([^<>]+)</t[hd]>", row) for row in table.split("</tr>")[:-1]]


def test_the_standings_end_today_and_reach_back_thirteen_months_by_weeks(told: Fleet, rosa: Client) -> None:
    body = read(rosa, "/figures/")
    days = [row[0] for row in rows(body, "standings")]
    assert days[0] == "Mon 12 Jan 2026"
    assert days[1] == "Mon 05 Jan 2026"
    assert days[-1][-8:] == "Jan 2025"
    assert "Now: 1 due, 1 not surveyed." in chart(body, "standings") or "Now: 1" in chart(body, "standings")


def test_what_lapses_is_told_by_its_week(told: Fleet, rosa: Client) -> None:
    weeks = {row[0]: (int(row[1]), int(row[2])) for row in rows(read(rosa, "/figures/"), "lapses")}
    assert (len(weeks), next(iter(weeks))) == (53, "Mon 12 Jan 2026")
    assert weeks["Mon 26 Oct 2026"][0] > 0  # the last days of October: what the first of October asked for, and grace


def test_repairs_are_from_opened_to_closed_by_the_worst_class(fleet: Fleet, rosa: Client) -> None:
    fleet.post(fleet.serviced(NOW - 60 * DAY), fleet.flushed(NOW - 40 * DAY, burner_stopped=False))
    fleet.post(fleet.repaired(NOW - 30 * DAY))
    assert rows(read(rosa, "/figures/"), "repairs")[0] == ["Hold", "1", "10", "10", "10", "10", "0", "\u2013"]


def test_what_is_still_open_is_counted_beside_the_times_it_is_not_in(fleet: Fleet, rosa: Client) -> None:
    fleet.post(fleet.serviced(NOW - 60 * DAY), fleet.flushed(NOW - 40 * DAY, burner_stopped=False))
    fleet.post(fleet.repaired(NOW - 30 * DAY), fleet.flushed(NOW - 4 * DAY, burner_stopped=False))
    body = read(rosa, "/figures/")
    assert rows(body, "repairs")[0] == ["Hold", "1", "10", "10", "10", "10", "1", "4"]
    assert "still open and in none of these times" in chart(body, "repairs")


def test_what_failed_as_found_is_a_share_of_what_was_tried_with_its_bounds(told: Fleet, rosa: Client) -> None:
    (row,) = rows(read(rosa, "/figures/"), "found-failed")
    kind, failed, tried, share, low, high = row
    expected = share_of(1, int(tried))
    assert kind == "Float cutoff"
    assert failed == "1"
    assert int(tried) > 1
    assert [float(n) for n in (share, low, high)] == [
        pytest.approx(100 * n, rel=0.06) for n in (expected.share, expected.low, expected.high)
    ]


def test_a_position_is_tried_once_a_visit_and_only_as_found(told: Fleet) -> None:
    counted = failure_counts_by_kind(Boiler.objects.all(), (NOW - 60 * DAY).date(), NOW.date())
    failed = failures_by_kind(Boiler.objects.all(), (NOW - 60 * DAY).date(), NOW.date())
    assert {kind: f.failed for kind, f in counted.items() if f.failed} == failed == {"float_cutoff": 1}
    # The service, the failed flush; the repair's own test came after work on it.
    assert counted["float_cutoff"] == FailureCounts(2, 1)


def test_make_up_is_spread_over_the_days_between_two_readings(told: Fleet, rosa: Client) -> None:
    found = {row[0]: row[1:] for row in rows(read(rosa, "/figures/"), "make-up")}
    assert (found["October 2025"][0], found["December 2025"][0]) == ("10", "20")
    assert found["January 2026"] == ["\u2013", "\u2013", "0"]
    assert found["October 2025"][2] == "1"


def test_a_replaced_meter_adds_neither_gallons_nor_days(told: Fleet) -> None:
    bench = told.bench()
    at = NOW - 5 * DAY
    told.post(bench.compose_visit("routine_check", at, [told.technician.id], [meter(bench, at, 12.0)]))
    months = makeup.makeup_per_month(Boiler.objects.all(), (NOW - 100 * DAY).date(), NOW.date())
    assert sum(m.gallons for m in months) == pytest.approx(900.0)
    assert sum(m.days for m in months) == pytest.approx(60.0)


def test_months_are_the_buildings_own(told: Fleet) -> None:
    """What was read half past eleven in the evening of the last of October there was used in October."""
    late = NOW.replace(year=2025, month=11, day=1, hour=3, minute=30)
    fit(told, "meter-2", "makeup_meter", "makeup_meter")
    bench = told.bench()
    for at, value in ((late - 2 * DAY, 0.0), (late, 20.0)):
        read_so = bench.test_entry(at, "meter_reading", "meter-2", reading=value)
        told.post(bench.compose_visit("follow_up", at, [told.technician.id], [read_so]))
    found = makeup.makeup_per_month(Boiler.objects.all(), late.date() - timedelta(days=20), late.date())
    assert [(m.first.month, m.meters, m.gallons) for m in found] == [(10, 1, 20.0), (11, 0, 0)]


def test_each_table_can_be_downloaded(told: Fleet, rosa: Client) -> None:
    for code in CHARTS:
        response = rosa.get(f"/figures/{code}.csv")
        lines = list(csv.reader(io.StringIO(response.content.decode())))
        assert response["Content-Disposition"] == f'attachment; filename="{code}-2026-01-12.csv"'
        assert len({len(line) for line in lines}) == 1, code
        assert len(lines) > 1, code


def test_without_data_a_chart_says_so_in_words(fleet: Fleet, rosa: Client) -> None:
    body = read(rosa, "/figures/")
    for code, words in (("repairs", "No deficiency was closed"), ("make-up", "No meter was read twice")):
        assert words in chart(body, code)
        assert "<figure" not in chart(body, code)


def test_while_nothing_was_closed_it_is_said_beside_what_is_open_and_no_axes_are_drawn(
    fleet: Fleet, rosa: Client
) -> None:
    fleet.post(fleet.serviced(NOW - 60 * DAY), fleet.flushed(NOW - 4 * DAY, burner_stopped=False))
    body = read(rosa, "/figures/")
    told = chart(body, "repairs")
    assert "Nothing was closed since Wed 01 Jan 2025" in told
    assert "<figure" not in told
    assert rows(body, "repairs")[0][-2:] == ["1", "4"]


def test_an_outsider_sees_nothing_to_count(told: Fleet, sign_in: SignIn, clock: SetClock) -> None:
    body = read(sign_in(told.outsider), "/figures/")
    assert "You do not have access to a boiler" in body
    assert "Sorrelgate" not in body


def test_one_portfolio_is_chosen_among_those_one_sees(told: Fleet, rosa: Client) -> None:
    assert rosa.get(f"/figures/?portfolio={told.portfolio.id}").status_code == 200
    assert [rosa.get(f"/figures/{a}?portfolio={uuid4()}").status_code for a in ("", "lapses.csv")] == [404, 404]
    assert rosa.get("/figures/unknown.csv").status_code == 404


# session, user, portfolios; standings 3, weeks ahead, classes 3, ages and the oldest, repairs closed and open, found
# failed 3 to 6 with the kinds' names, make-up 4
PAGE = 22


def test_what_the_page_costs(told: Fleet, rosa: Client, django_assert_num_queries: Count) -> None:
    with django_assert_num_queries(PAGE):
        rosa.get("/figures/")
