"""A visit whose correction waits still counts, and whoever it names has a word about it, and about it alone."""

from dataclasses import replace
from uuid import uuid4

import pytest
from django.test import Client

from fleet import pipeline
from fleet.accounts.models import User
from fleet.assessments.models import Waiting
from fleet.assessments.queries import visits_that_name, waiting_corrections
from fleet.board.models import Change
from fleet.errors import Refused
from fleet.rules.vocabulary import NameReply
from fleet.visits.incoming import IncomingVisit, Person
from fleet.visits.models import NameAnswer, Seconding
from tests.cast import DAY, NOW, Fleet, make_person, standing

pytestmark = pytest.mark.django_db
SECONDED, DENIED = NameReply.SECONDED, NameReply.DENIED


@pytest.fixture
def nora(fleet: Fleet) -> User:
    """Serviced a month ago; Nora is a technician, Mona the manager."""
    fleet.post(fleet.serviced(NOW - 30 * DAY), at=NOW - 30 * DAY)
    make_person("mona", fleet.portfolio, "manager")
    return make_person("nora", fleet.portfolio, "technician", "technician")


def post(visit: IncomingVisit, by: str, person: User) -> IncomingVisit:
    named = replace(visit, people=(Person(user=person.id),))
    pipeline.post_visits([named], by=User.objects.get(username=by), at=NOW - DAY)
    return named


@pytest.fixture
def failed(fleet: Fleet, nora: User) -> IncomingVisit:
    """Posted by the caretaker in Nora's name: the flush failed, so that the boiler is on hold."""
    return post(fleet.flushed(NOW - 2 * DAY, burner_stopped=False), "bram", nora)


@pytest.fixture
def correction(fleet: Fleet, failed: IncomingVisit, nora: User) -> IncomingVisit:
    """The manager says that it passed; that waits for a second name."""
    restated = replace(fleet.flushed(NOW - 2 * DAY), id=uuid4(), corrects=failed.id, reason="wrong box")
    return post(restated, "mona", nora)


def reply(visit: IncomingVisit, by: User, answer: NameReply = SECONDED, reason: str = "") -> NameAnswer:
    return pipeline.reply_to_naming(visit=visit.id, by=by, reply=answer, at=NOW, reason=reason)


def code_of(visit: IncomingVisit, by: User) -> tuple[str, int]:
    with pytest.raises(Refused) as refused:
        reply(visit, by)
    return refused.value.faults[0].code, refused.value.status


@pytest.mark.parametrize("answer", [SECONDED, DENIED])
def test_a_word_about_a_visit_is_none_about_its_correction_that_waits(
    fleet: Fleet, failed: IncomingVisit, correction: IncomingVisit, nora: User, answer: NameReply
) -> None:
    assert set(visits_that_name(nora).values_list("id", flat=True)) == {failed.id, correction.id}
    reply(failed, nora, answer)
    assert waiting_corrections(fleet.bench().boiler.id) == {correction.id}
    assert (standing(fleet.bench()), Seconding.objects.count()) == ("hold", 0)
    assert [answered.visit_id for answered in NameAnswer.objects.all()] == [failed.id]
    assert set(visits_that_name(nora).values_list("id", flat=True)) == {correction.id}


def test_a_word_about_the_correction_is_no_second_name_of_it(
    fleet: Fleet, failed: IncomingVisit, correction: IncomingVisit, nora: User
) -> None:
    reply(correction, nora)
    assert (standing(fleet.bench()), waiting_corrections(fleet.bench().boiler.id)) == ("hold", {correction.id})


def test_once_the_correction_counts_nobody_answers_for_what_it_corrects(
    fleet: Fleet, failed: IncomingVisit, correction: IncomingVisit, nora: User
) -> None:
    pipeline.second_correction(visit=correction.id, by=fleet.technician, at=NOW)
    assert code_of(failed, nora) == ("corrected_already", 409)
    assert failed.id not in visits_that_name(nora).values_list("id", flat=True)


def test_a_waiting_correction_that_was_corrected_again_has_no_word_and_no_second_name(
    fleet: Fleet, failed: IncomingVisit, correction: IncomingVisit, nora: User
) -> None:
    again = replace(fleet.flushed(NOW - 2 * DAY), id=uuid4(), corrects=correction.id, reason="wrong time")
    post(again, "mona", nora)
    assert code_of(correction, nora) == ("corrected_already", 409)
    with pytest.raises(Refused, match="corrected_already"):
        pipeline.second_correction(visit=correction.id, by=fleet.technician, at=NOW)
    assert set(visits_that_name(nora).values_list("id", flat=True)) == {failed.id, again.id}
    reply(failed, nora)


def test_a_word_that_would_let_the_correction_count_without_a_second_name_is_refused(fleet: Fleet, nora: User) -> None:
    repair, at = fleet.repaired(NOW - 2 * DAY), NOW - 2 * DAY
    fails = fleet.bench().test_entry(at, "flush", "upper", "fail", burner_firing=True, burner_stopped=False)
    told = post(replace(repair, id=uuid4(), entries=(fails, *repair.entries)), "bram", nora)
    assert standing(fleet.bench()) == "hold"
    dropped = post(replace(repair, id=uuid4(), corrects=told.id, reason="it never failed"), "mona", nora)
    assert waiting_corrections(fleet.bench().boiler.id) == {dropped.id}
    assert code_of(told, nora) == ("would_let_correction_count", 409)
    assert (NameAnswer.objects.count(), standing(fleet.bench())) == (0, "hold")
    assert Waiting.objects.filter(visit=dropped.id, subject="correction").exists()
    pipeline.second_correction(visit=dropped.id, by=fleet.technician, at=NOW)
    assert standing(fleet.bench()) != "hold"
    assert pipeline.rebuild(at=NOW) == 0


def test_the_page_says_that_the_word_is_not_about_the_correction(
    client: Client, failed: IncomingVisit, correction: IncomingVisit, nora: User
) -> None:
    client.force_login(nora)
    page = client.get(f"/visits/{failed.id}/").text
    assert "does not second the correction" in " ".join(page.split())
    assert "Second this correction" not in page
    assert client.post(f"/visits/{failed.id}/confirm/").status_code == 302
    assert Seconding.objects.count() == 0


def test_a_denial_may_give_its_reason_which_is_kept_and_shown(
    client: Client, fleet: Fleet, failed: IncomingVisit, nora: User
) -> None:
    client.force_login(nora)
    reason = "I was at Quarry Lane <all day>."
    assert client.post(f"/visits/{failed.id}/deny/", {"reason": f" {reason} "}).status_code == 302
    assert NameAnswer.objects.get().reason == reason
    assert "The reason given: I was at Quarry Lane &lt;all day&gt;." in client.get(f"/visits/{failed.id}/").text
    replies = client.get(f"/api/v1/visits/{failed.id}/facts/").json()["visit"]["replies"]
    assert [told["reason"] for told in replies] == [reason]
    assert Change.objects.get(kind="visit.denied").reason == reason


@pytest.mark.parametrize(
    ("body", "status", "kept"),
    [
        ({}, 201, [""]),
        ({"reason": "Not me."}, 201, ["Not me."]),
        ({"reason": "x" * 401}, 400, []),
        ({"why": 1}, 400, []),
    ],
)
def test_the_api_takes_a_reason_or_none(
    client: Client, failed: IncomingVisit, nora: User, body: dict[str, object], status: int, kept: list[str]
) -> None:
    client.force_login(nora)
    answered = client.post(f"/api/v1/visits/{failed.id}/deny/", body, content_type="application/json")
    assert answered.status_code == status
    assert list(NameAnswer.objects.values_list("reason", flat=True)) == kept
