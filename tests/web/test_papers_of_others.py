"""Papers of others on the pages: the paper on its visit's page and report, what waits on the boiler's page."""

import pytest
from django.test import Client

from fleet import pipeline
from fleet.accounts.models import User
from fleet.assessments import report
from fleet.deficiencies.models import Deficiency
from fleet.portfolio.models import Boiler
from fleet.visits.incoming import IncomingVisit
from fleet.visits.queries import visits_to
from tests.cast import DAY, NOW, Fleet, make_person
from tests.shop_papers import SERIAL, paper, paper_visit, shop_test, stamp_serial
from tests.stories import story
from tests.web.conftest import SetClock, SignIn
from tests.web.test_board import read
from tests.web.test_boiler import part

pytestmark = pytest.mark.django_db
WAITS = "This paper would end a hold or a tag, and does not yet."


@story
def held(fleet: Fleet) -> None:
    """The valve did not lift five days ago, and was then worked on."""
    fleet.post(fleet.serviced(NOW - 30 * DAY), at=NOW - 30 * DAY)
    stamp_serial(fleet, NOW - 30 * DAY)
    at, bench = NOW - 5 * DAY, fleet.bench()
    lift = bench.test_entry(at, "lever_lift", "valve", "fail", gauge_psi=6.0, lifted=False, discharged=False)
    fleet.post(fleet.visit(at, [lift, bench.action_entry(at, "repair", "valve")]), at=at)


@pytest.fixture
def shop(held: Fleet) -> IncomingVisit:
    """The shop's paper, posted by the caretaker: it waits."""
    visit = paper_visit(held, shop_test(held, SERIAL), paper=paper(name="Harbor <Valve> Shop"))
    pipeline.post_visits([visit], by=held.caretaker, at=NOW)
    return visit


@pytest.fixture
def nora(held: Fleet) -> User:
    return make_person("nora", held.portfolio, "technician", "technician")


def test_the_visits_page_shows_the_paper_and_its_file(shop: IncomingVisit, rosa: Client) -> None:
    body = read(rosa, f"/visits/{shop.id}/")
    for words in (
        "<dt>Paper of</dt><dd>Harbor &lt;Valve&gt; Shop (valve shop)</dd>",
        "<dt>Number</dt><dd>1001</dd>",
        "<dt>Dated</dt><dd>Sat 10 Jan 2026</dd>",
        "valve.pdf",
        "ab" * 32,
    ):
        assert words in body
    assert "<dt>Present</dt>" not in body
    assert "As found against as left" not in body


def test_it_says_what_the_paper_lacks(shop: IncomingVisit, rosa: Client) -> None:
    body = read(rosa, f"/visits/{shop.id}/")
    assert WAITS in body
    assert "No second qualified person stands behind the paper." in body


def test_another_qualified_technician_seconds_it_there(
    held: Fleet, shop: IncomingVisit, nora: User, clock: SetClock, sign_in: SignIn
) -> None:
    client, address = sign_in(nora), f"/visits/{shop.id}/"
    assert "Second this paper" in read(client, address)
    assert client.post(f"{address}second/")["Location"] == f"{address}#second"
    body = read(client, address)
    assert "Seconded by nora" in body
    assert WAITS not in body
    assert "Second this paper" not in body
    assert not Deficiency.objects.filter(rule="valve_no_lift", closed_at=None).exists()


def test_its_poster_is_offered_no_button(held: Fleet, shop: IncomingVisit, clock: SetClock, sign_in: SignIn) -> None:
    assert "Second this paper" not in read(sign_in(held.caretaker), f"/visits/{shop.id}/")


def test_a_seconded_paper_that_still_lacks_its_serial_asks_for_no_third_name(
    held: Fleet, nora: User, rosa: Client
) -> None:
    visit = paper_visit(held, shop_test(held))
    pipeline.post_visits([visit], by=held.caretaker, at=NOW)
    pipeline.second_correction(visit=visit.id, by=nora, at=NOW)
    body = read(rosa, f"/visits/{visit.id}/")
    assert "The paper does not give the serial of the safety valve." in body
    assert "Second this paper" not in body


def test_the_boilers_page_lists_what_waits(held: Fleet, shop: IncomingVisit, rosa: Client) -> None:
    waiting = part(read(rosa, f"/boilers/{held.bench().boiler.id}/"), "waiting-head")
    assert "The paper of Harbor &lt;Valve&gt; Shop, number 1001, would end a hold or a tag" in waiting
    assert f"/visits/{shop.id}/" in waiting


def test_who_may_not_read_visits_sees_what_waits_without_its_link(
    held: Fleet, shop: IncomingVisit, ines: Client
) -> None:
    waiting = part(read(ines, f"/boilers/{held.bench().boiler.id}/"), "waiting-head")
    assert "number 1001" in waiting
    assert "/visits/" not in waiting


def test_nothing_waits_on_a_boiler_without_papers(held: Fleet, rosa: Client) -> None:
    assert "Waiting to count" not in read(rosa, f"/boilers/{held.bench().boiler.id}/")


def test_the_boilers_evidence_says_on_whose_paper(held: Fleet, shop: IncomingVisit, nora: User, rosa: Client) -> None:
    pipeline.second_correction(visit=shop.id, by=nora, at=NOW)
    positions = read(rosa, f"/boilers/{held.bench().boiler.id}/")
    assert "on Sat 10 Jan 2026, on paper of Harbor &lt;Valve&gt; Shop." in positions


def test_the_recent_visits_say_it_too(held: Fleet, shop: IncomingVisit, rosa: Client) -> None:
    assert "on paper of Harbor &lt;Valve&gt; Shop</span>" in read(rosa, f"/boilers/{held.bench().boiler.id}/")


def test_the_report_shows_the_paper_and_what_it_lacks(held: Fleet, shop: IncomingVisit) -> None:
    visit = visits_to(Boiler.objects.all()).get(id=shop.id)
    data = report.report_data(visit, NOW)
    facts = dict(data["facts"])
    assert [facts["Number"], facts["Dated"]] == ["1001", "Sat 10 Jan 2026"]
    assert "Present" not in facts
    assert data["notes"] == [f"{WAITS} No second qualified person stands behind the paper."]
    assert report.render_pdf(visit, NOW).startswith(b"%PDF")
