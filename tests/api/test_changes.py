"""The feed of changes over the API: pages, cursors, filters, and who sees what."""

from collections.abc import Iterator
from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet import pipeline
from fleet.accounts.models import Grant
from fleet.board.models import Change, Pulse
from fleet.portfolio.models import Portfolio
from fleet.records.events import Cause, ChangeEvent
from tests import kept
from tests.api.phone import Phone, told
from tests.cast import DAY, NOW, Fleet

pytestmark = pytest.mark.django_db
CHANGES = "/api/v1/changes/"
Order = list[tuple[int, int]]


def tell(fleet: Fleet) -> Fleet:
    """A failure of each boiler and one repair."""
    fleet.post(fleet.serviced(NOW - 60 * DAY))
    fleet.post(fleet.flushed(NOW - 20 * DAY, burner_stopped=False))
    fleet.post(fleet.flushed(NOW - 19 * DAY, "ALD12 B2", burner_stopped=False))
    fleet.post(fleet.repaired(NOW - 18 * DAY))
    return fleet


@pytest.fixture(scope="module")
def busy(fleet: Fleet, django_db_blocker: Any) -> Iterator[Fleet]:
    """Serviced, failed, repaired; a failure at the neighbour."""
    with kept.made_for_a_file(django_db_blocker, lambda: tell(fleet)) as made:
        yield made


def ask(phone: Phone, **query: Any) -> Any:
    return phone.get(f"{CHANGES}?{urlencode(query)}")


def pages(phone: Phone, **query: Any) -> list[list[dict[str, Any]]]:
    """Every page from the beginning to the end."""
    found, body = [], ask(phone, **query).json()
    while True:
        found.append(body["changes"])
        if not body["more"]:
            return found
        body = ask(phone, after=body["after"], **{k: v for k, v in query.items() if k == "limit"}).json()


def order(changes: list[dict[str, Any]]) -> Order:
    return [(c["version"], c["number"]) for c in changes]


def stored(**of: Any) -> Order:
    return list(Change.objects.filter(**of).order_by("version", "number").values_list("version", "number"))


@pytest.mark.parametrize("limit", [1, 2, 3, 7, 200])
def test_pages_of_any_size_tell_every_change_once_in_order(busy: Fleet, rosa: Phone, limit: int) -> None:
    found = pages(rosa, limit=limit)
    assert order([c for page in found for c in page]) == stored()
    assert {len(p) for p in found[:-1]} <= {limit}


def test_a_change_says_what_from_what_to_what_why_and_through_whom(busy: Fleet, rosa: Phone) -> None:
    change = next(c for c in ask(rosa, kind="standing.changed").json()["changes"] if c["after"] == "hold")
    assert change["before"] == "due"
    assert change["rule"] == "flush_keeps_firing"
    assert change["who"] == "rosa"
    assert change["sentence"]
    assert change["boiler"] == change["subject"] == str(busy.bench().boiler.id)


def test_a_request_of_the_api_is_named_by_its_changes(busy: Fleet, rosa: Phone) -> None:
    from tests.api.phone import flush

    after = ask(rosa).json()["after"]
    response = rosa.post(flush(busy))
    told_of = ask(rosa, after=after).json()["changes"]
    assert told_of
    assert {c["request_id"] for c in told_of} == {response["X-Request-Id"]}


def test_the_end_is_a_cursor_that_later_changes_follow(busy: Fleet, rosa: Phone) -> None:
    end = ask(rosa).json()
    again = ask(rosa, after=end["after"]).json()
    # The place is the same; behind it stand the second in which it was signed, and the signature.
    assert again["after"].partition(":")[0] == end["after"].partition(":")[0]
    assert (again["changes"], again["more"]) == ([], False)
    busy.post(busy.flushed(NOW, burner_stopped=False))
    later = ask(rosa, after=end["after"]).json()["changes"]
    assert order(later) == stored(version=Pulse.objects.get().version) != []


@pytest.mark.parametrize("limit", [1, 2, 200])
def test_filters_by_boiler_and_kind_are_part_of_the_cursor(busy: Fleet, rosa: Phone, limit: int) -> None:
    boiler, kind = busy.bench("ALD12 B2").boiler.id, "deficiency.changed"
    of_boiler, of_kind = pages(rosa, boiler=boiler, limit=limit), pages(rosa, kind=kind, limit=limit)
    assert order([c for p in of_boiler for c in p]) == stored(boiler=boiler) != []
    assert order([c for p in of_kind for c in p]) == stored(kind=kind) != []


def test_the_next_page_is_linked_as_long_as_there_is_one(busy: Fleet, rosa: Phone) -> None:
    first = ask(rosa, limit=2)
    address = urlsplit(first["Link"].removeprefix("<").partition(">")[0])
    assert first["Link"].endswith('rel="next"')
    assert parse_qs(address.query) == {"after": [first.json()["after"]], "limit": ["2"]}
    assert "Link" not in ask(rosa)


@pytest.mark.parametrize("change", [lambda c: c[:-1], lambda c: "x" + c, lambda c: "none", lambda c: c.upper()])
def test_a_cursor_nobody_gave_out_is_refused(busy: Fleet, rosa: Phone, change: Any) -> None:
    response = ask(rosa, after=change(ask(rosa, limit=2).json()["after"]))
    assert (response.status_code, told(response)) == (422, [("bad_cursor", "/after")])


def test_a_cursor_of_other_filters_is_refused(busy: Fleet, rosa: Phone) -> None:
    after = ask(rosa, kind="alert.raised", limit=1).json()["after"]
    assert ask(rosa, after=after, kind="alert.raised").status_code == 200
    assert told(ask(rosa, after=after, kind="standing.changed")) == [("other_filters", "/after")]


@pytest.mark.parametrize(
    ("query", "at"), [({"limit": 0}, "/limit"), ({"limit": 201}, "/limit"), ({"before": 1}, "/before")]
)
def test_a_question_that_cannot_be_read_is_refused(busy: Fleet, rosa: Phone, query: dict[str, int], at: str) -> None:
    response = ask(rosa, **query)
    assert (response.status_code, told(response)[0][1]) == (400, at)


def test_who_sees_one_building_reads_the_changes_of_its_boilers_only(busy: Fleet) -> None:
    Grant.objects.filter(user=busy.technician).update(building=busy.bench("QUA48 B1").boiler.building)
    seen = [c for p in pages(Phone.of(busy.technician)) for c in p]
    assert {c["boiler"] for c in seen} == {str(busy.bench("QUA48 B1").boiler.id)}


def whole(fleet: Fleet) -> None:
    """One change of the portfolio as a whole."""
    from fleet.board.services import record_changes

    news = ChangeEvent(
        "alert.raised", fleet.portfolio.id, None, "", "not_surveyed", "Boilers wait.", "not_surveyed", NOW
    )
    record_changes(portfolio=fleet.portfolio.id, events=[news], cause=Cause(who="sweep"), at=NOW)


@pytest.mark.parametrize(("building", "seen"), [(False, True), (True, False)])
def test_what_is_of_the_portfolio_as_a_whole_is_told_to_who_sees_all_of_it(
    busy: Fleet, building: bool, seen: bool
) -> None:
    whole(busy)
    if building:
        Grant.objects.filter(user=busy.technician).update(building=busy.bench().boiler.building)
    listed = [c for p in pages(Phone.of(busy.technician)) for c in p]
    assert any(c["sentence"] == "Boilers wait." for c in listed) is seen


def test_two_portfolios_are_each_told_in_their_own_order_and_in_turn(busy: Fleet, rosa: Phone) -> None:
    other = Portfolio.objects.create(ref="HOLLOW", name="Hollow Road")
    Grant.objects.create(user=busy.technician, portfolio=other, role="technician")
    from fleet.board.services import record_changes

    for n in range(5):
        news = ChangeEvent("alert.raised", other.id, None, "", "not_surveyed", f"{n}", "not_surveyed", NOW)
        record_changes(portfolio=other.id, events=[news, news], cause=Cause(), at=NOW)
    listed = [c for p in pages(rosa, limit=3) for c in p]
    for portfolio in (other, busy.portfolio):
        own = [c for c in listed if c["portfolio"] == str(portfolio.id)]
        assert order(own) == stored(portfolio=portfolio)
    assert {c["portfolio"] for c in listed[:2]} == {str(other.id), str(busy.portfolio.id)}


@pytest.mark.parametrize("limit", [1, 200])
def test_a_page_takes_the_same_queries_however_much_it_tells(busy: Fleet, rosa: Phone, limit: int) -> None:
    with CaptureQueriesContext(connection) as captured:
        assert ask(rosa, limit=limit).status_code == 200
    assert len([q for q in captured if "SAVEPOINT" not in q["sql"]]) == 3


def test_reading_the_feed_changes_nothing(busy: Fleet, rosa: Phone) -> None:
    pages(rosa, limit=2)
    assert pipeline.rebuild(at=NOW) == 0
