"""Reports to hand over: a boiler's year, a portfolio on one page, and links that anybody can open until they end."""

import csv
import io
import re
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client

from fleet.accounts.models import Grant
from fleet.board.models import Segment
from fleet.reports import shared_links
from fleet.reports.boiler_year import compose_boiler_year
from fleet.reports.models import SharedLink
from fleet.reports.portfolio_page import (
    HELD_LETTERS,
    MAX_HELD_LINES,
    MAX_SOON_LINES,
    SOON_LETTERS,
    compose_portfolio_page,
    count_that_fit,
)
from fleet.reports.typesetting import set_report
from fleet.rules.wording import ADVICE_CAUTION
from fleet.web.reports import reports_page
from tests.cards.pdf_text import count_pages, text_of
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
    assert hold["span"] == "Since Sun 11 Jan 2026, still open, 1 day"
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


def test_a_boiler_that_nobody_surveyed_is_not_among_those_with_nothing_against_them(fleet: Fleet) -> None:
    first, _, unknown = compose_portfolio_page(fleet.portfolio, fleet.technician, NOW)["sentences"]  # type: ignore[misc]
    assert first.endswith("This says nothing of 2 boilers never surveyed.")
    assert "No boiler of" not in first
    assert unknown == "Not known: 2 boilers never surveyed."


def test_an_open_hold_of_a_boiler_that_is_off_is_told(held: Fleet) -> None:
    boiler = held.bench().boiler
    Segment.objects.filter(boiler=boiler, standing="hold").update(standing="off")
    told: Any = compose_portfolio_page(held.portfolio, held.technician, NOW)
    said = "No boiler in service is on hold, and 1 boiler that is off has an open hold"
    assert told["sentences"][0].startswith(f"{said};")
    assert told["none_held"] == f"{said}."


def test_the_sentences_say_what_is_on_record_and_no_more(fleet: Fleet) -> None:
    fleet.post(fleet.serviced(NOW - 30 * DAY))
    year = set_report("boiler_year", compose_boiler_year(fleet.bench().boiler, NOW), NOW)
    page = set_report("portfolio_page", compose_portfolio_page(fleet.portfolio, fleet.technician, NOW), NOW)
    assert "No hold is on record in this year." in text_of(year)
    assert "No boiler on record is on hold." in text_of(page)


@pytest.mark.parametrize("reason", ["", "The burner kept firing while the upper cutoff was flushed. " * 4])
def test_the_portfolios_page_shows_each_act_whole_and_stays_one_page(held: Fleet, reason: str) -> None:
    content: Any = compose_portfolio_page(held.portfolio, held.technician, NOW)
    act = content["held"][0]["act"] if reason else "Switch the burner off by hand now."
    row = {**content["held"][0], "reason": reason, "act": act}
    soon = {"day": "Tue 24 Nov 2026", "place": "12 Alder Terrace, Boiler 1: the upper low-water cutoff of the header"}
    held_count = count_that_fit([row] * 40, HELD_LETTERS, MAX_HELD_LINES)
    soon_count = count_that_fit([soon] * 40, SOON_LETTERS, MAX_SOON_LINES)
    lists = {"held": [row] * held_count, "held_more": 99, "soon": [soon] * soon_count, "soon_more": 99}
    pdf = set_report("portfolio_page", {**content, **lists}, NOW)
    assert count_pages(pdf) == 1
    assert text_of(pdf).replace(" ", "").count(act.replace(" ", "")) == held_count > 3


@pytest.mark.parametrize(("rows", "shown"), [(0, 0), (1, 1), (2, 2), (3, 3), (4, 3)])
def test_as_many_lines_are_shown_as_stand_there(rows: int, shown: int) -> None:
    assert count_that_fit([{"text": "x" * 11}] * rows, letters=10, lines=6) == shown


def test_one_line_is_shown_however_long_it_is() -> None:
    assert count_that_fit([{"text": "x" * 1000}], letters=10, lines=6) == 1


def test_the_list_of_links_says_which_visit_is_shared(held: Fleet, rosa: Client) -> None:
    share(rosa, "visit", held.bench().boiler.visits.order_by("performed_at").last().id)
    assert re.search(
        r"Visit to 12 Alder Terrace, Boiler 1:\s+Routine check, \w{3} \d{2} Jan 2026", rosa.get("/shared/").text
    )


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


@pytest.mark.parametrize("page", ["/", "/account/", "/figures/"])
def test_the_list_of_shared_reports_has_a_door_where_people_look(held: Fleet, rosa: Client, page: str) -> None:
    assert '<a href="/shared/">Shared reports</a>' in rosa.get(page).text


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


def test_the_status_is_a_page_and_a_table_for_who_is_signed_in(held: Fleet, rosa: Client, sign_in: SignIn) -> None:
    path = f"/portfolios/{held.portfolio.id}/"
    assert "On hold, why, and who goes" in rosa.get(f"{path}page/").content.decode()
    answer = rosa.get(f"{path}page.csv")
    lines = list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert answer["Content-Disposition"] == 'attachment; filename="portfolio.csv"'
    assert lines[0] == ["Building", "Boiler", "Standing", "Since", "Reason", "First act", "Goes"]
    assert lines[1][:4] == ["12 Alder Terrace", "Boiler 1", "hold", "Sun 11 Jan 2026"]
    assert len(lines) == 1 + Segment.objects.values("boiler").distinct().count()
    for name in ("page/", "page.csv"):
        assert sign_in(held.outsider).get(path + name).status_code == 404
