"""One boiler's standing at an instant, over the API."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlencode
from uuid import uuid4

import pytest

from tests import kept
from tests.api.phone import Phone, told
from tests.cast import DAY, NOW, Fleet

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


def tell(fleet: Fleet) -> Fleet:
    """Serviced a month ago; failed two hours ago, posted one hour ago."""
    fleet.post(fleet.serviced(NOW - 30 * DAY), at=NOW - 30 * DAY)
    fleet.post(fleet.flushed(NOW - DAY), at=NOW - DAY)
    fleet.post(fleet.flushed(NOW - 2 * HOUR, burner_stopped=False), at=NOW - HOUR)
    return fleet


@pytest.fixture(scope="module")
def failed(fleet: Fleet, django_db_blocker: Any) -> Iterator[Fleet]:
    """The first boiler; rolled back with the fleet."""
    with kept.made_for_a_file(django_db_blocker, lambda: tell(fleet)) as made:
        yield made


def ask(phone: Phone, fleet: Fleet, **query: Any) -> Any:
    written = {k: v.isoformat() if isinstance(v, datetime) else v for k, v in query.items()}
    return phone.get(f"/api/v1/boilers/{fleet.bench().boiler.id}/standing/?{urlencode(written)}")


@pytest.mark.parametrize(
    ("query", "standing"),
    [
        ({}, "hold"),
        ({"at": NOW - 2 * HOUR}, "hold"),
        ({"at": NOW - 2 * HOUR - timedelta(microseconds=1)}, "clear"),
        ({"at": NOW, "known_at": NOW - HOUR}, "hold"),
        ({"at": NOW, "known_at": NOW - HOUR - timedelta(microseconds=1)}, "clear"),
        ({"at": NOW - 31 * DAY}, "not_surveyed"),
        ({"at": NOW + 300 * DAY}, "hold"),
        ({"at": NOW + 300 * DAY, "known_at": NOW - 2 * HOUR}, "exposed"),
    ],
)
def test_the_standing_is_told_for_the_instant_and_by_what_was_known(
    failed: Fleet, rosa: Phone, query: dict[str, Any], standing: str
) -> None:
    response = ask(rosa, failed, **query)
    assert (response.status_code, response.json()["standing"]) == (200, standing)
    assert response.json()["reasons"][0]["sentence"]


def test_the_answer_says_what_was_asked_and_what_it_is_not(failed: Fleet, rosa: Phone) -> None:
    body = ask(rosa, failed, at=NOW, known_at=NOW).json()
    assert body["at"] == "2026-01-12T14:00:00Z"
    assert body["known_at"] == "2026-01-12T14:00:00Z"
    assert body["boiler"] == str(failed.bench().boiler.id)
    assert "never a permission" in body["caution"]


@pytest.mark.parametrize(
    ("query", "faults"),
    [
        ({"at": "2026-01-12T09:00:00"}, [("no_offset", "/at")]),
        ({"at": "yesterday"}, [("not_an_instant", "/at")]),
        ({"at": "2026-01-12", "known_at": "x"}, [("not_an_instant", "/at"), ("not_an_instant", "/known_at")]),
        ({"as_of": "2026-01-12T09:00:00Z"}, [("unknown_field", "/as_of")]),
    ],
)
def test_a_question_that_cannot_be_read_is_refused_with_every_fault(
    failed: Fleet, rosa: Phone, query: dict[str, Any], faults: list[tuple[str, str]]
) -> None:
    response = ask(rosa, failed, **query)
    assert (response.status_code, sorted(told(response))) == (400, sorted(faults))


def test_an_instant_given_twice_is_refused(failed: Fleet, rosa: Phone) -> None:
    path = f"/api/v1/boilers/{failed.bench().boiler.id}/standing/?at=2026-01-12T09:00:00Z&at=2026-01-13T09:00:00Z"
    assert told(rosa.get(path)) == [("given_twice", "/at")]


def test_who_may_not_see_the_boiler_is_told_as_of_an_unknown_one(failed: Fleet, rosa: Phone) -> None:
    unseen, unknown = ask(Phone.of(failed.outsider), failed), rosa.get(f"/api/v1/boilers/{uuid4()}/standing/")
    assert (unseen.status_code, unseen.content) == (404, unknown.content)
