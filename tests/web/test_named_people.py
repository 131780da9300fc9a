"""Visits that name somebody, on the pages: whose word is missing, its worth, both answers, the list, the report."""

import pytest
from django.test import Client

from fleet import pipeline
from fleet.accounts.models import User
from fleet.assessments import report
from fleet.portfolio.models import Boiler
from fleet.rules.vocabulary import NameReply
from fleet.visits.incoming import IncomingVisit
from fleet.visits.queries import visits_to
from tests.cast import DAY, NOW, Fleet, make_person, standing
from tests.pipeline.test_named_people import naming
from tests.stories import story
from tests.web.conftest import SetClock, SignIn
from tests.web.test_board import read
from tests.web.test_boiler import part

pytestmark = pytest.mark.django_db
WAITS = "Posted by bram, it names nora, who has not seconded it. Nothing good of it counts"
MINE = "/visits/that-name-me/"


@story
def held(fleet: Fleet) -> None:
    """Serviced a month ago; the flush failed five days ago."""
    fleet.post(fleet.serviced(NOW - 30 * DAY), at=NOW - 30 * DAY)
    fleet.post(fleet.flushed(NOW - 5 * DAY, burner_stopped=False), at=NOW - 5 * DAY)


@pytest.fixture
def nora(held: Fleet) -> User:
    return make_person("nora", held.portfolio, "technician", "technician")


@pytest.fixture
def repair(held: Fleet, nora: User) -> IncomingVisit:
    """The repair that would end the hold, posted by the caretaker as Nora's."""
    visit = naming(held.repaired(NOW - DAY), "nora")
    pipeline.post_visits([visit], by=held.caretaker, at=NOW - DAY)
    return visit


def test_the_visits_page_says_whose_word_is_missing_and_what_it_is_worth(repair: IncomingVisit, rosa: Client) -> None:
    body = read(rosa, f"/visits/{repair.id}/")
    assert WAITS in body
    assert "Second this visit" not in body


def test_who_is_named_seconds_it_there(
    held: Fleet, repair: IncomingVisit, nora: User, clock: SetClock, sign_in: SignIn
) -> None:
    client, address = sign_in(nora), f"/visits/{repair.id}/"
    assert "Second this visit" in read(client, address)
    assert client.post(f"{address}confirm/").status_code == 302
    body = read(client, address)
    assert "nora seconded it on Mon 12 Jan 2026." in body
    assert "Second this visit" not in body
    assert standing(held.bench()) != "hold"


def test_who_is_named_denies_it_there(
    held: Fleet, repair: IncomingVisit, nora: User, clock: SetClock, sign_in: SignIn
) -> None:
    client, address = sign_in(nora), f"/visits/{repair.id}/"
    assert client.post(f"{address}deny/").status_code == 302
    body = read(client, address)
    assert "nora denied it on Mon 12 Jan 2026: nothing good of it rests on that name." in body
    assert "Nothing good of it counts" in body
    assert "has not seconded it" not in body
    assert standing(held.bench()) == "hold"


def test_a_second_answer_is_refused_above_the_visit(
    repair: IncomingVisit, nora: User, clock: SetClock, sign_in: SignIn
) -> None:
    client, address = sign_in(nora), f"/visits/{repair.id}/"
    client.post(f"{address}deny/")
    again = client.post(f"{address}confirm/")
    assert again.status_code == 409
    assert "You have already denied it." in again.content.decode()


def test_an_unknown_answer_is_not_found(repair: IncomingVisit, nora: User, clock: SetClock, sign_in: SignIn) -> None:
    assert sign_in(nora).post(f"/visits/{repair.id}/perhaps/").status_code == 404


def test_the_boilers_page_lists_what_waits_for_a_name(held: Fleet, repair: IncomingVisit, rosa: Client) -> None:
    assert WAITS in part(read(rosa, f"/boilers/{held.bench().boiler.id}/"), "waiting-head")


def test_the_page_of_visits_that_name_me_holds_them_until_they_are_answered(
    repair: IncomingVisit, nora: User, clock: SetClock, sign_in: SignIn
) -> None:
    client = sign_in(nora)
    assert f"/visits/{repair.id}/#reply" in read(client, MINE)
    client.post(f"/visits/{repair.id}/deny/")
    assert "No visit waits for your word." in read(client, MINE)


@pytest.mark.parametrize("page", ["/", "/account/"])
def test_only_who_is_asked_is_shown_the_way_there(
    repair: IncomingVisit, nora: User, rosa: Client, clock: SetClock, sign_in: SignIn, page: str
) -> None:
    client = sign_in(nora)
    assert MINE in read(client, page)
    client.post(f"/visits/{repair.id}/confirm/")
    assert MINE not in read(client, page)


def test_the_others_are_shown_no_way_there(repair: IncomingVisit, rosa: Client) -> None:
    assert MINE not in read(rosa, "/")


def test_the_report_says_whose_word_is_missing_and_who_denied_it(
    held: Fleet, repair: IncomingVisit, nora: User
) -> None:
    def notes() -> list[str]:
        return list(report.report_data(visits_to(Boiler.objects.all()).get(id=repair.id), NOW)["notes"])

    assert notes()[0].startswith(WAITS)
    pipeline.reply_to_naming(visit=repair.id, by=nora, reply=NameReply.DENIED, at=NOW)
    assert notes()[0] == "nora denied it on Mon 12 Jan 2026: nothing good of it rests on that name."
    assert report.render_pdf(visits_to(Boiler.objects.all()).get(id=repair.id), NOW).startswith(b"%PDF")
