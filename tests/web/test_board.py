"""The status board: what it shows, in which order, and what it costs."""

import re
from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import Any

import pytest
from django.test import Client

from fleet.accounts.models import Grant
from fleet.portfolio.models import Building, Portfolio, ServiceState
from tests.cast import DAY, NOW, Fleet, make_fleet
from tests.web.conftest import SetClock, SignIn

pytestmark = pytest.mark.django_db

Count = Callable[[int], AbstractContextManager[Any]]


def read(client: Client, address: str = "/") -> str:
    return re.sub(r"\s+", " ", client.get(address).content.decode())


def section(body: str, code: str) -> str:
    return body.split(f'id="group-{code}"')[1].split("</section>")[0]


@pytest.fixture
def one_each(fleet: Fleet) -> Fleet:
    """The first boiler of Alder Terrace on hold after a failed flush, the second clear."""
    for key in ("ALD12 B1", "ALD12 B2"):
        fleet.post(fleet.serviced(NOW - 30 * DAY, key), fleet.flushed(NOW - DAY, key))
    fleet.post(fleet.flushed(NOW, "ALD12 B1", burner_stopped=False))
    return fleet


def test_the_worst_comes_first(one_each: Fleet, rosa: Client) -> None:
    main = section(read(rosa), "in_service")
    assert main.index("standing-hold") < main.index("standing-clear")


def test_a_row_says_where_why_what_next_and_since_when(one_each: Fleet, rosa: Client) -> None:
    row = section(read(rosa), "in_service").split("</li>")[0]
    for words in ("12 Alder Terrace", "Boiler 1", "Switch the burner off by hand now.", "Mon 12 Jan 2026"):
        assert words in row


def test_a_standing_is_a_word_and_a_mark_and_never_colour_alone(one_each: Fleet, rosa: Client) -> None:
    row = section(read(rosa), "in_service").split("</li>")[0]
    assert re.search(r'class="standing standing-hold"><svg[^>]*><use href="#mark-hold"></use></svg>Hold</span>', row)


def test_every_standing_has_a_mark_of_its_own(rosa: Client) -> None:
    marks = re.findall(r'<symbol id="mark-(\w+)".*?>(.*?)</symbol>', read(rosa))
    assert len({shape for _, shape in marks}) == len(marks) == 8


def test_the_head_counts_every_standing(one_each: Fleet, rosa: Client) -> None:
    counts = re.findall(r"</svg>([\w ]+)</span> ?</dt><dd>(\d+)</dd>", read(rosa))
    expected = {"Hold": 1, "Exposed": 0, "Impaired": 0, "Due": 0, "Clear": 1, "Not surveyed": 0, "Off": 0}
    assert {standing: int(count) for standing, count in counts} == expected


def test_not_surveyed_stands_apart(fleet: Fleet, rosa: Client) -> None:
    assert section(read(rosa), "not_surveyed").count("<li") == 2
    assert "<li" not in section(read(rosa), "in_service")


def test_off_stands_apart(fleet: Fleet, rosa: Client) -> None:
    bench = fleet.bench()
    ServiceState.objects.create(
        portfolio=fleet.portfolio, boiler=bench.boiler, state="laid_up_dry", since=NOW - DAY, posted_at=NOW - DAY
    )
    fleet.post(fleet.flushed(NOW - 2 * DAY))
    assert "The boiler is laid up dry." in section(read(rosa), "off")


def test_the_day_is_the_buildings_own(one_each: Fleet, rosa: Client) -> None:
    # Nine in the morning in New York is already the next day in Kiritimati.
    Building.objects.update(zone="Pacific/Kiritimati")
    assert "Tue 13 Jan 2026" in section(read(rosa), "in_service").split("</li>")[0]


def test_open_alerts_are_counted(one_each: Fleet, rosa: Client) -> None:
    assert re.search(r"\d+ alerts?<span", section(read(rosa), "in_service").split("</li>")[0])


def test_names_from_the_register_are_text_and_never_markup(fleet: Fleet, rosa: Client) -> None:
    Building.objects.update(address='<script>alert("x")</script>')
    body = read(rosa)
    assert "<script>alert" not in body
    assert "&lt;script&gt;alert" in body


def test_further_reasons_are_counted(fleet: Fleet, rosa: Client) -> None:
    fleet.post(fleet.serviced(NOW - 600 * DAY))
    assert re.search(r"and \d+ more", section(read(rosa), "in_service"))


def test_a_portfolio_without_boilers_says_how_they_come(fleet: Fleet, sign_in: SignIn, clock: SetClock) -> None:
    empty = Portfolio.objects.create(ref="EMPTY", name="Empty Homes")
    Grant.objects.create(user=fleet.outsider, portfolio=empty, role="manager")
    assert "No boiler is on record yet" in read(sign_in(fleet.outsider))


# session, user, segments with boiler, building and portfolio, raised alerts per boiler
PAGE = 4
# session, user; for the ETag: grants, pulses, last boundary, newest alert; then segments and raised alerts
ROWS = 8
# the same without what the rows need
NOT_MODIFIED = 6


@pytest.mark.parametrize("buildings", [("ALD12",), ("ALD12", "QUA48", "WEA07", "HOP33", "MIL90")])
def test_what_the_board_costs_does_not_grow_with_it(
    db: Any,
    buildings: tuple[str, ...],
    sign_in: SignIn,
    clock: SetClock,
    django_assert_num_queries: Count,
) -> None:
    client = sign_in(make_fleet(*buildings).technician)
    with django_assert_num_queries(PAGE):
        client.get("/")
    with django_assert_num_queries(ROWS):
        tag = client.get("/board/rows/")["ETag"]
    with django_assert_num_queries(NOT_MODIFIED):
        assert client.get("/board/rows/", headers={"If-None-Match": tag}).status_code == 304
