"""Figures over time and what is to come, over the API."""

from collections.abc import Iterator
from typing import Any
from urllib.parse import urlencode
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.accounts.models import Grant
from fleet.portfolio.models import Boiler
from tests import kept
from tests.api.phone import Phone, told
from tests.cast import DAY, NOW, Fleet

pytestmark = pytest.mark.django_db
FIGURES, FORECAST = "/api/v1/figures/", "/api/v1/figures/forecast/"


def tell(fleet: Fleet) -> Fleet:
    """A failure and its repair."""
    fleet.post(fleet.serviced(NOW - 60 * DAY), fleet.flushed(NOW - 20 * DAY, burner_stopped=False))
    fleet.post(fleet.repaired(NOW - 18 * DAY), fleet.flushed(NOW - DAY))
    return fleet


@pytest.fixture(scope="module")
def busy(fleet: Fleet, django_db_blocker: Any) -> Iterator[Fleet]:
    """Alder Terrace serviced, failed and repaired; Quarry Lane never visited."""
    with kept.made_for_a_file(django_db_blocker, lambda: tell(fleet)) as made:
        yield made


def ask(phone: Phone, path: str, **query: Any) -> Any:
    return phone.get(f"{path}?{urlencode(query)}")


def test_the_figures_of_the_last_ninety_days_are_told_without_asking_for_days(busy: Fleet, rosa: Phone) -> None:
    body = ask(rosa, FIGURES).json()
    assert body["first"] == "2025-10-14"
    assert body["last"] == "2026-01-12"
    assert len(body["standings"]) == 91
    assert sum(v for k, v in body["standings"][-1].items() if k != "day") == Boiler.objects.count()


def test_a_day_on_hold_is_in_every_figure_of_it(busy: Fleet, rosa: Phone) -> None:
    body = ask(rosa, FIGURES, first="2025-12-23", last="2025-12-25").json()
    assert [d["hold"] for d in body["standings"]] == [1, 1, 0]
    assert [d["hold"] for d in body["open_by_class"]] == [1, 1, 0]
    assert sum(v for k, v in body["open_by_age"][0].items() if k != "day") >= 1
    assert body["found_failed"] == [{"kind": "float_cutoff", "count": 1}]
    assert body["time_to_repair"][0] == {
        "level": "hold",
        "count": 1,
        "median_hours": 48.0,
        "ninth_tenth_hours": 48.0,
    }


def test_one_boiler_or_portfolio_can_be_asked_for(busy: Fleet, rosa: Phone) -> None:
    day = {"first": "2026-01-12", "last": "2026-01-12"}
    counts = []
    for of in ({"boiler": busy.bench().boiler.id}, {"portfolio": busy.portfolio.id}, {"portfolio": uuid4()}):
        found = ask(rosa, FIGURES, **day, **of).json()["standings"][0]
        counts.append(sum(v for k, v in found.items() if k != "day"))
    assert counts == [1, Boiler.objects.count(), 0]


def test_who_sees_one_building_counts_only_that(busy: Fleet) -> None:
    Grant.objects.filter(user=busy.technician).update(building=busy.bench("QUA48 B1").boiler.building)
    body = ask(Phone.of(busy.technician), FIGURES).json()
    assert sum(v for k, v in body["standings"][-1].items() if k != "day") == 1
    assert body["found_failed"] == []


@pytest.mark.parametrize(
    ("query", "fault", "status"),
    [
        ({"first": "2026-01-13", "last": "2026-01-12"}, ("after_last", "/first"), 422),
        ({"first": "2023-01-08", "last": "2026-01-12"}, ("too_many_days", "/first"), 422),
        ({"last": "2027-01-19"}, ("too_far_ahead", "/last"), 422),
        ({"first": "January"}, ("invalid", "/first"), 400),
        ({"boiler": "B1"}, ("invalid", "/boiler"), 400),
        ({"from": "2026-01-12"}, ("unknown_field", "/from"), 400),
    ],
)
def test_days_that_cannot_be_counted_are_refused(
    busy: Fleet, rosa: Phone, query: dict[str, str], fault: tuple[str, str], status: int
) -> None:
    response = ask(rosa, FIGURES, **query)
    assert (response.status_code, told(response)) == (status, [fault])


@pytest.mark.parametrize(
    "query", [{"first": "2023-01-09", "last": "2026-01-12"}, {"last": "2027-01-18"}, {"first": "2026-01-12"}]
)
def test_the_widest_days_are_counted(busy: Fleet, rosa: Phone, query: dict[str, str]) -> None:
    assert ask(rosa, FIGURES, **query).status_code == 200


def test_the_forecast_tells_a_year_by_week_and_by_boiler(busy: Fleet, rosa: Phone) -> None:
    body = ask(rosa, FORECAST).json()
    assert len(body["weeks"]) == len(body["standings_at_week_end"]) == 53
    assert body["boilers"][0]["boiler"] == str(busy.bench().boiler.id)
    own = body["boilers"][0]["weeks"]
    assert own == [w for w in body["weeks"] if w["due"] or w["lapsed"]] != []
    assert body["steps"] == []


def test_the_steps_of_one_boiler_say_why(busy: Fleet, rosa: Phone) -> None:
    body = ask(rosa, FORECAST, boiler=busy.bench().boiler.id, weeks=4).json()
    assert len(body["weeks"]) == 4
    assert len(body["steps"]) == sum(w["due"] + w["lapsed"] for w in body["weeks"]) > 0
    assert all(step["name"] in step["reason"]["sentence"] for step in body["steps"])


@pytest.mark.parametrize("weeks", [0, 54, "all"])
def test_no_more_than_a_year_is_foreseen(busy: Fleet, rosa: Phone, weeks: Any) -> None:
    response = ask(rosa, FORECAST, weeks=weeks)
    assert (response.status_code, told(response)[0][1]) == (400, "/weeks")


@pytest.mark.parametrize(("path", "all_of_them", "one"), [(FIGURES, 13, 13), (FORECAST, 6, 7)])
def test_an_answer_takes_its_fixed_number_of_queries(
    busy: Fleet, rosa: Phone, path: str, all_of_them: int, one: int
) -> None:
    for query, queries in (({}, all_of_them), ({"boiler": busy.bench().boiler.id}, one)):  # one is told its steps too
        with CaptureQueriesContext(connection) as captured:
            assert ask(rosa, path, **query).status_code == 200
        assert len([q for q in captured if "SAVEPOINT" not in q["sql"]]) == queries
