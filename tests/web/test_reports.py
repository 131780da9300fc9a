"""Reports to hand over: a boiler's year, a portfolio on one page, and links that anybody can open until they end."""

import io
import re
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client

from fleet.accounts.models import Grant
from fleet.reports import shared_links
from fleet.reports.boiler_year import compose_boiler_year
from fleet.reports.models import SharedLink
from fleet.reports.portfolio_page import compose_portfolio_page
from fleet.rules.wording import ADVICE_CAUTION
from fleet.web.reports import reports_page
from tests.cast import DAY, NOW, Fleet, make_person
from tests.web.conftest import SetClock, SignIn
from tests.web.test_board import read

pytestmark = pytest.mark.django_db


@pytest.fixture
def held(fleet: Fleet) -> Fleet:
    """Serviced a year and a month ago and a month ago; the flush failed yesterday."""
    fleet.post(fleet.serviced(NOW - 400 * DAY), fleet.serviced(NOW - 30 * DAY))
    fleet.post(fleet.flushed(NOW - DAY, burner_stopped=False))
    return fleet


@pytest.fixture
def put_clock(monkeypatch: pytest.MonkeyPatch) -> Any:
    def put(at: Any) -> None:
        monkeypatch.setattr(reports_page, "timezone", type("Clock", (), {"now": staticmethod(lambda: at)}))

    put(NOW)
    return put


def pages_of(pdf: bytes) -> int:
    return len(re.findall(rb"/Type\s*/Page[^s]", pdf))


def test_a_boilers_year_has_every_protection_with_its_proofs_and_by_which_source(held: Fleet) -> None:
    told: Any = compose_boiler_year(held.bench().boiler, NOW)
    places = {place["name"]: place for place in told["places"]}
    trip = next(line for line in places["High limit"]["proofs"] if line["test"] == "Limit trip")
    assert trip["outcome"] == "pass, full"
    assert trip["people"] == "rosa (backflow tester, gas train, operator, technician)"
    assert "trip" in trip["readings"]
    assert trip["limit"]
    assert trip["source"]
    assert told["caution"] == ADVICE_CAUTION


def test_what_is_older_than_a_year_is_not_in_it(held: Fleet) -> None:
    told: Any = compose_boiler_year(held.bench().boiler, NOW)
    days = {line["day"] for place in told["places"] for line in place["proofs"]}
    assert all("2024" not in day for day in days)
    assert told["visits"] == 2


def test_a_hold_is_told_with_how_long_it_lasts(held: Fleet) -> None:
    told: Any = compose_boiler_year(held.bench().boiler, NOW)
    (hold,) = told["holds"]
    assert hold["closed"] == "still open"
    assert hold["days"] == "1"
    assert "kept firing" in hold["sentence"]
    assert told["first_act"].startswith("Switch the burner off by hand now.")


def test_a_portfolio_says_first_what_must_not_fire_what_changed_and_what_nobody_knows(held: Fleet) -> None:
    told: Any = compose_portfolio_page(held.portfolio, held.technician, NOW)
    first, changed, unknown = told["sentences"]
    assert first.startswith("1 boiler of 2 must not be left firing;")
    assert "hold 0 to 1" in changed
    assert "never surveyed" in unknown
    assert told["held"][0]["who"] == "nobody"
    assert dict(told["counts"])["hold"] == "1"


def test_both_are_sent_as_pdf_and_the_portfolio_is_one_page(held: Fleet, rosa: Client) -> None:
    year = rosa.get(f"/boilers/{held.bench().boiler.id}/year.pdf")
    page = rosa.get(f"/portfolios/{held.portfolio.id}/page.pdf")
    for response in (year, page):
        assert response["Content-Type"] == "application/pdf"
        assert response["X-Content-Type-Options"] == "nosniff"
    assert pages_of(page.content) == 1
    assert pages_of(year.content) <= 3
    assert min(len(page.content), len(year.content)) > 10_000  # fonts and text, not an empty sheet


def test_a_foreign_report_answers_as_an_unknown_one(held: Fleet, sign_in: SignIn, clock: SetClock) -> None:
    stranger = sign_in(held.outsider)
    assert stranger.get(f"/boilers/{held.bench().boiler.id}/year.pdf").status_code == 404
    assert stranger.get(f"/portfolios/{held.portfolio.id}/page.pdf").status_code == 404
    assert stranger.post(f"/shared/portfolio/{held.portfolio.id}/").status_code == 404


def share(client: Client, kind: str, subject: Any, days: int = 30) -> str:
    made = client.post(f"/shared/{kind}/{subject}/", {"days": days})
    assert made.status_code == 200
    assert "no-store" in made["Cache-Control"]
    (address,) = set(re.findall(r"/report/[\w-]+/", made.content.decode()))
    return str(address)


@pytest.mark.parametrize("kind", ["portfolio", "boiler_year", "visit"])
def test_a_link_shows_its_report_to_somebody_without_an_account(
    held: Fleet, rosa: Client, put_clock: Any, kind: str
) -> None:
    boiler = held.bench().boiler
    subject = {"portfolio": held.portfolio.id, "boiler_year": boiler.id, "visit": boiler.visits.first().id}[kind]
    address = share(rosa, kind, subject)
    shown = Client().get(address)
    assert shown.status_code == 200
    assert ADVICE_CAUTION in shown.content.decode().replace("&#x27;", "'")
    assert (shown["Referrer-Policy"], shown["X-Robots-Tag"]) == ("no-referrer", "noindex, nofollow")
    assert Client().get(f"{address}report.pdf")["Content-Type"] == "application/pdf"
    assert SharedLink.objects.get().digest not in address


@pytest.mark.parametrize(("later", "open_still"), [(-timedelta(seconds=1), True), (timedelta(0), False)])
def test_a_link_ends_at_its_instant(
    held: Fleet, rosa: Client, put_clock: Any, later: timedelta, open_still: bool
) -> None:
    address = share(rosa, "portfolio", held.portfolio.id, days=7)
    put_clock(NOW + 7 * DAY + later)
    assert (Client().get(address).status_code == 200) == open_still


def test_an_ended_a_wrong_and_a_lapsed_address_answer_alike(held: Fleet, rosa: Client, put_clock: Any) -> None:
    address = share(rosa, "portfolio", held.portfolio.id)
    link = SharedLink.objects.get()
    assert rosa.post(f"/shared/{link.id}/end/").status_code == 302
    ended, wrong = Client().get(address), Client().get("/report/guess/")
    assert ended.status_code == wrong.status_code == 404
    assert ended.content == wrong.content


def test_who_may_no_longer_see_it_shares_nothing_any_more(held: Fleet, rosa: Client, put_clock: Any) -> None:
    address = share(rosa, "portfolio", held.portfolio.id)
    Grant.objects.filter(user=held.technician).update(until=NOW - DAY)
    assert Client().get(address).status_code == 404


@pytest.mark.parametrize("days", ["0", "91", "x"])
def test_a_link_of_no_possible_time_is_refused(held: Fleet, rosa: Client, days: str) -> None:
    assert rosa.post(f"/shared/portfolio/{held.portfolio.id}/", {"days": days}).status_code == 302
    assert not SharedLink.objects.exists()


def test_nobody_ends_the_link_of_another(held: Fleet, rosa: Client, sign_in: SignIn) -> None:
    share(rosa, "portfolio", held.portfolio.id)
    other = sign_in(make_person("lena", held.portfolio, "technician"))
    assert other.post(f"/shared/{SharedLink.objects.get().id}/end/").status_code == 404
    assert "Nothing is shared." in read(other, "/shared/")
    assert shared_links.links_of(held.technician, NOW).count() == 1


def test_the_secret_of_a_link_is_in_no_line_of_the_log(held: Fleet, rosa: Client, put_clock: Any, caplog: Any) -> None:
    address = share(rosa, "portfolio", held.portfolio.id)
    Client().get(address)
    assert not io.StringIO(caplog.text).read().count(address)
