"""The visit page: what was done in order, what it is worth by which limit, what was concluded."""

import re
from dataclasses import replace
from types import SimpleNamespace
from uuid import uuid4

import pytest
from django.test import Client

from fleet.assessments import report
from fleet.assessments.models import Verdict
from fleet.assessments.sources import spelled_out
from fleet.catalog.citations import DOCUMENT_NUMBER
from fleet.catalog.queries import shipped_sources
from fleet.files.models import KeptFile
from fleet.visits.incoming import IncomingPhotograph, IncomingVisit
from fleet.visits.models import Seconding, Visit
from fleet.web.shared import pages
from tests.cast import DAY, NOW, ROOT, Fleet, make_person
from tests.stories import story
from tests.web.conftest import SetClock, SignIn
from tests.web.test_board import Count, read
from tests.web.test_boiler import part

pytestmark = pytest.mark.django_db


@story
def serviced(fleet: Fleet) -> None:
    """A month ago."""
    fleet.post(fleet.serviced(NOW - 30 * DAY))


@pytest.fixture
def service(serviced: Fleet) -> IncomingVisit:
    return serviced.serviced(NOW - 30 * DAY)


def side(body: str, place: str) -> list[str]:
    """As found, done, as left of one place."""
    row = part(body, "found-left").split(f'<th scope="row">{place}</th>')[1].split("</tr>")[0]
    return row.split("<td>")[1:]


def entry(body: str, number: int) -> str:
    return body.split(f'id="entry-{number}"')[1].split("</li>")[0]


def test_entries_stand_in_the_order_done_each_with_its_anchor(service: IncomingVisit, rosa: Client) -> None:
    numbers = re.findall(r'id="entry-(\d+)"', read(rosa, f"/visits/{service.id}/"))
    assert numbers == [str(n) for n in range(1, len(service.entries) + 1)]


def test_an_entry_says_readings_verdict_limit_set_point_and_source(service: IncomingVisit, rosa: Client) -> None:
    number = [e.code for e in service.entries].index("limit_trip") + 1
    found = entry(read(rosa, f"/visits/{service.id}/"), number)
    for words in ("Limit trip", "<dt>trip</dt><dd>7.9 psi</dd>", "Pass", "Limit: ", "Compared with 8 psi", "S29"):
        assert words in found


def test_a_finding_gives_its_first_act_before_its_sentence(fleet: Fleet, service: IncomingVisit, rosa: Client) -> None:
    failed = fleet.flushed(NOW, burner_stopped=False)
    fleet.post(failed)
    found = part(read(rosa, f"/visits/{failed.id}/"), "findings")
    assert 0 < found.index("Switch the burner off by hand now.") < found.index('href="#entry-1"')


def test_the_answer_says_what_stands_against_firing_and_what_was_not_looked_at(
    fleet: Fleet, service: IncomingVisit, rosa: Client
) -> None:
    failed = replace(fleet.flushed(NOW, burner_stopped=False), kind="follow_up")
    fleet.post(failed)
    ready = part(read(rosa, f"/visits/{failed.id}/"), "against-firing")
    for words in ("Something does", "What stands against it", "Hold open since", "Not looked at", "safety valve"):
        assert words in ready


def test_beside_a_visit_that_had_nothing_in_hand_stands_the_older_answer(
    fleet: Fleet, service: IncomingVisit, rosa: Client
) -> None:
    failed = replace(fleet.flushed(NOW - DAY / 24, burner_stopped=False), kind="follow_up")
    look = fleet.flushed(NOW)
    fleet.post(failed)
    fleet.post(look)
    answer = part(read(rosa, f"/visits/{look.id}/"), "against-firing")
    for words in ("Something does", "did not have the boiler in hand", f'href="/visits/{failed.id}/"', "still stands"):
        assert words in answer


def test_what_was_answered_is_shown_only_where_it_differs(service: IncomingVisit, rosa: Client) -> None:
    assert "Answered when it was posted" not in read(rosa, f"/visits/{service.id}/")
    Verdict.objects.filter(entry=service.entry_id(0)).update(outcome="inconclusive")
    assert "Answered when it was posted: pass." in entry(read(rosa, f"/visits/{service.id}/"), 1)


def test_a_corrected_visit_leads_to_the_one_that_counts(fleet: Fleet, service: IncomingVisit, rosa: Client) -> None:
    later = replace(service, id=uuid4(), corrects=service.id, reason="wrong gauge read")
    fleet.post(later)
    assert f'href="/visits/{later.id}/">the later one counts' in read(rosa, f"/visits/{service.id}/")
    assert "wrong gauge read" in read(rosa, f"/visits/{later.id}/")


def test_as_found_stands_against_as_left_place_by_place(service: IncomingVisit, rosa: Client) -> None:
    body = read(rosa, f"/visits/{service.id}/")
    upper, limit, valve = (side(body, name) for name in ("Upper cutoff", "High limit", "Safety valve"))
    assert "Flush" in upper[0]
    assert "Slow drain" not in upper[0]
    assert "worked on: float chamber" in upper[1]
    assert "Slow drain" in upper[2]
    assert "Flush" in upper[2]
    assert (
        "trip: 7.9 psi" in limit[0],
        "compared with 8 psi" in limit[0],
        "As found: nothing was done" in limit[2],
    ) == (True,) * 3
    assert "Lever lift" in valve[0]


def test_what_was_worked_on_and_not_tried_again_is_said(fleet: Fleet, service: IncomingVisit, rosa: Client) -> None:
    bench = fleet.bench()
    opened = fleet.visit(NOW, [bench.action_entry(NOW, "open_clean", "chamber")])
    fleet.post(opened)
    chamber = side(read(rosa, f"/visits/{opened.id}/"), "Float chamber")
    assert "Not tried before the work." in chamber[0]
    assert "Not tried again after the work." in chamber[2]


def test_a_failed_test_of_something_untouched_is_left_as_found(
    fleet: Fleet, service: IncomingVisit, rosa: Client
) -> None:
    failed = fleet.flushed(NOW, burner_stopped=False)
    fleet.post(failed)
    assert "Left as found." in side(read(rosa, f"/visits/{failed.id}/"), "Upper cutoff")[2]


@pytest.fixture
def waiting(fleet: Fleet, service: IncomingVisit, monkeypatch: pytest.MonkeyPatch) -> IncomingVisit:
    """A correction that would take the boiler off hold."""
    monkeypatch.setattr(pages, "timezone", SimpleNamespace(now=lambda: NOW))
    failed = fleet.flushed(NOW - DAY / 24, burner_stopped=False)
    fleet.post(failed)
    good = fleet.flushed(NOW - DAY / 24)
    later = replace(good, id=uuid4(), corrects=failed.id, reason="the wrong switch was meant")
    fleet.post(later)
    return later


def test_a_correction_is_seconded_by_another_qualified_technician_on_its_page(
    fleet: Fleet, waiting: IncomingVisit, sign_in: SignIn, clock: SetClock
) -> None:
    nora = sign_in(make_person("nora", fleet.portfolio, "technician", "technician"))
    address = f"/visits/{waiting.id}/"
    assert "Second this correction" in read(nora, address)
    assert nora.post(f"{address}second/")["Location"] == f"{address}#second"
    body = read(nora, address)
    assert "Second this correction" not in body
    assert "Seconded by nora, Mon 12 Jan 2026" in body


def test_its_poster_is_not_asked_and_refused(waiting: IncomingVisit, rosa: Client) -> None:
    assert "Second this correction" not in read(rosa, f"/visits/{waiting.id}/")
    refused = rosa.post(f"/visits/{waiting.id}/second/")
    assert refused.status_code == 403
    assert b"other than its poster" in refused.content


def test_who_is_not_qualified_is_told_beside_the_button(
    fleet: Fleet, waiting: IncomingVisit, sign_in: SignIn, clock: SetClock
) -> None:
    mia = sign_in(make_person("mia", fleet.portfolio, "manager"))
    refused = mia.post(f"/visits/{waiting.id}/second/")
    assert refused.status_code == 403
    assert b"qualified technician" in refused.content


def test_seconding_is_for_who_may_and_unknown_to_others(
    fleet: Fleet, waiting: IncomingVisit, sign_in: SignIn, clock: SetClock
) -> None:
    address = f"/visits/{waiting.id}/second/"
    assert sign_in(fleet.caretaker).post(address).status_code == 403
    assert sign_in(fleet.outsider).post(address).status_code == 404
    assert Client().post(address).status_code == 302
    assert not Seconding.objects.exists()


def test_every_source_the_catalogue_names_by_number_has_its_title(fleet: Fleet) -> None:
    text = " ".join(file.read_text() for file in (ROOT / "fixtures" / "catalogue").glob("*.csv"))
    assert set(DOCUMENT_NUMBER.findall(text)) - shipped_sources().keys() == set()
    assert spelled_out("S29").startswith("S29 (Standard Work Specification")
    assert spelled_out("from memory: HG-605") == "not verified yet: HG-605"
    assert spelled_out("common practice") == "common practice"


def test_the_report_is_a_pdf_and_the_same_each_time(fleet: Fleet, service: IncomingVisit, rosa: Client) -> None:
    failed = fleet.flushed(NOW, burner_stopped=False)
    fleet.post(failed)
    first, again = (rosa.get(f"/visits/{failed.id}/report.pdf") for _ in range(2))
    assert (first["Content-Type"], first.content[:5]) == ("application/pdf", b"%PDF-")
    assert first.content == again.content
    assert first["Content-Disposition"] == 'inline; filename="visit-ALD12-B1-2026-01-12.pdf"'


def test_the_report_tells_the_caution_first_and_its_first_line_by_itself(fleet: Fleet, service: IncomingVisit) -> None:
    failed = replace(fleet.flushed(NOW, burner_stopped=False), kind="follow_up")
    fleet.post(failed)
    told = report.report_data(Visit.objects.get(id=failed.id), NOW)
    assert told["cautions"][0][0] == "Switch the burner off by hand now."
    assert (told["answer"], told["findings"][0]["level"]) == ("Something does", "Hold")
    assert "Source: S23 (General test procedures" in told["entries"][0]["by"]


def test_what_somebody_typed_is_text_and_no_markup(fleet: Fleet, service: IncomingVisit) -> None:
    """Markup would fail to compile, read a file or give another document than its own characters do."""
    typed = '#read("/etc/hostname") $x$ ] #panic("x") \\ = head *b* @ref <label> " }'
    visit = replace(fleet.flushed(NOW), id=uuid4(), note=typed)
    fleet.post(visit)
    row = Visit.objects.get(id=visit.id)
    assert report.render_pdf(row, NOW)[:5] == b"%PDF-"
    assert typed in report.report_data(row, NOW)["notes"]


def test_the_report_is_for_who_may_read_the_visit(
    service: IncomingVisit, fleet: Fleet, sign_in: SignIn, clock: SetClock
) -> None:
    address = f"/visits/{service.id}/report.pdf"
    assert sign_in(fleet.outsider).get(address).status_code == 404
    assert sign_in(make_person("ines", fleet.portfolio, "office")).get(address).status_code == 404
    assert Client().get(address).status_code == 302


# session, user, visit, people, their users; release, who was answered what, entries with verdicts, readings;
# findings, readiness
# what its readings come to: places, entries, readings, settings, fittings; what hangs on what
PAGE = 19


def test_what_the_page_costs(service: IncomingVisit, rosa: Client, django_assert_num_queries: Count) -> None:
    with django_assert_num_queries(PAGE):
        rosa.get(f"/visits/{service.id}/")


@pytest.mark.parametrize("arrived", [True, False])
def test_a_photograph_is_shown_at_its_visit_and_on_its_boiler(fleet: Fleet, rosa: Client, arrived: bool) -> None:
    at = NOW - DAY
    sha256 = "ab" * 32
    flushed = fleet.flushed(at)
    picture = IncomingPhotograph(sha256, size=100, type="image/jpeg", entry=0)
    fleet.post(replace(flushed, photographs=(picture,)))
    if arrived:
        values = {"size": 100, "type": "image/jpeg", "received": 100, "width": 640, "height": 480}
        KeptFile.objects.create(
            portfolio=fleet.portfolio, sha256=sha256, sent_by=fleet.technician, begun_at=at, kept_at=at, **values
        )
    for address in (f"/visits/{flushed.id}/", f"/boilers/{flushed.boiler}/"):
        body = read(rosa, address)
        assert (f'src="/api/v1/photos/{sha256}/picture.jpg"' in body) == arrived
        assert ("Declared, and not arrived yet." in body) == (not arrived)
        assert ('alt="Photograph of upper cutoff, Sun 11 Jan 2026"' in body) == arrived
