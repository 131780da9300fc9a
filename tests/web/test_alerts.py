"""The alert feed."""

import re

import pytest
from django.test import Client

from fleet.portfolio.models import Portfolio
from fleet.web import feed
from tests.cast import DAY, NOW, Fleet, make_person
from tests.web.conftest import SetClock, SignIn
from tests.web.test_board import Count, read

pytestmark = pytest.mark.django_db


@pytest.fixture
def told(fleet: Fleet) -> Fleet:
    """A hold that began yesterday and was put right this morning, and one on the second boiler since an hour ago."""
    fleet.post(fleet.serviced(NOW - 30 * DAY), fleet.serviced(NOW - 30 * DAY, "ALD12 B2"), at=NOW - 29 * DAY)
    fleet.post(fleet.flushed(NOW - DAY, burner_stopped=False), at=NOW - DAY)
    fleet.post(fleet.repaired(NOW - DAY / 6), at=NOW - DAY / 6)
    fleet.post(fleet.flushed(NOW - DAY / 24, "ALD12 B2", burner_stopped=False), at=NOW - DAY / 24)
    return fleet


def items(body: str) -> list[str]:
    return re.findall(r"<li.*?</li>", body.split('class="feed"')[1])


def holds(body: str) -> list[str]:
    """Those of the condition hold itself: its word is its level's."""
    return [item for item in items(body) if re.search(r'<br> ?<span class="level level-hold">', item)]


def test_the_newest_news_is_first_in_the_words_of_the_alarm_standards(told: Fleet, rosa: Client) -> None:
    words = [re.findall(r'class="what">([\w ]+)<', item)[0] for item in holds(read(rosa, "/alerts/"))]
    assert words == ["Raised", "Returned to normal"]


def test_a_returned_one_says_since_until_and_when_it_was_raised(told: Fleet, rosa: Client) -> None:
    back = holds(read(rosa, "/alerts/"))[-1]
    assert re.findall(r"<dt>(\w+)</dt>", back) == ["Since", "Until", "Raised"]
    assert "Sun 11 Jan 2026, 09:00 EST" in back


def test_nothing_is_offered_that_cannot_be_done_yet(told: Fleet, rosa: Client) -> None:
    assert read(rosa, "/alerts/").split("<main")[1].count("<button") == 0


def test_a_long_feed_has_pages(told: Fleet, rosa: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = items(read(rosa, "/alerts/"))
    monkeypatch.setattr(feed, "PER_PAGE", 1)
    assert 'rel="next">Older' in read(rosa, "/alerts/")
    assert [items(read(rosa, f"/alerts/?page={n}"))[0] for n in range(1, len(whole) + 1)] == whole


def test_an_empty_feed_explains_itself(fleet: Fleet, sign_in: SignIn, clock: SetClock) -> None:
    empty = Portfolio.objects.create(ref="HARROW", name="Harrow House")
    assert "No alert has been raised yet" in read(sign_in(make_person("piet", empty, "manager")), "/alerts/")


def test_what_a_portfolio_as_a_whole_is_told_of_stands_in_the_feed(fleet: Fleet, rosa: Client) -> None:
    (item,) = items(read(rosa, "/alerts/"))
    assert "Larkfield Homes" in item
    assert "2 boilers have not been surveyed" in item


def test_a_building_without_heat_stands_in_the_feed_and_on_its_boilers_pages(told: Fleet, rosa: Client) -> None:
    told.post(told.flushed(NOW, burner_stopped=False))
    assert "12 Alder Terrace is without heat" in read(rosa, "/alerts/")
    assert "12 Alder Terrace is without heat" in read(rosa, f"/boilers/{told.bench().boiler.id}/")


# session, user, how many there are, the alerts with boiler and building
PAGE = 4


def test_what_the_feed_costs(told: Fleet, rosa: Client, django_assert_num_queries: Count) -> None:
    with django_assert_num_queries(PAGE):
        rosa.get("/alerts/")
