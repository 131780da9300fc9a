"""A visit's id, its repeat and its correction."""

import json
from typing import Any
from uuid import uuid4

import pytest

from fleet.board.models import Change
from fleet.visits.models import Visit
from tests.api.phone import DROP, VISITS, Phone, but, flush, limit, told
from tests.cast import Fleet, make_person

pytestmark = pytest.mark.django_db


def correction(body: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {**body, "id": str(uuid4()), "corrects": body["id"], "reason": "a typo", **more}


def test_a_repeat_is_answered_200_word_for_word(rosa: Phone, fleet: Fleet) -> None:
    body = flush(fleet)
    first, again = rosa.post(body), rosa.post(body)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.content == again.content


def test_a_repeat_adds_nothing(rosa: Phone, fleet: Fleet) -> None:
    body = flush(fleet)
    rosa.post(body)
    before = Change.objects.count()
    rosa.post(body)
    assert (Visit.objects.count(), Change.objects.count()) == (1, before)


def test_the_answer_is_read_again_word_for_word_where_it_was_said_to_be(rosa: Phone, fleet: Fleet) -> None:
    posted = rosa.post(flush(fleet))
    assert rosa.get(posted["Location"]).content == posted.content


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("performed_at",), "2026-01-12T14:00:00+01:00"),
        (("performed_at",), "2026-01-12t13:00:00.000z"),
        (("state_on_arrival",), "unknown"),
        (("note",), ""),
        (("leaving_checks",), {}),
        (("entries", 0, "performed_at"), "2026-01-12T08:00:00-05:00"),
    ],
)
def test_the_same_visit_written_otherwise_is_the_same(path: Any, value: Any, rosa: Phone, fleet: Fleet) -> None:
    body = flush(fleet)
    rosa.post(body)
    assert rosa.post(but(body, *path, to=value)).status_code == 200


def test_four_and_four_point_zero_are_one_reading(rosa: Phone, fleet: Fleet) -> None:
    body = limit(fleet)
    rosa.post(body)
    assert rosa.post(but(body, "entries", 0, "readings", "stayed_off_minutes", to=4.0)).status_code == 200


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("kind",), "follow_up"),
        (("note",), "more"),
        (("entries", 0, "readings", "burner_stopped"), False),
        (("entries", 0, "readings", "recovery"), DROP),
        (("people", 0), {"name": "Rosa Delgado"}),
        (("leaving_checks",), {"jumpers_off": False}),
    ],
)
def test_other_content_under_a_known_id_is_refused_with_409(path: Any, value: Any, rosa: Phone, fleet: Fleet) -> None:
    body = flush(fleet)
    rosa.post(body)
    response = rosa.post(but(body, *path, to=value))
    assert (response.status_code, told(response)) == (409, [("id_taken", "/id")])


def test_a_visit_without_an_id_is_given_one(rosa: Phone, fleet: Fleet) -> None:
    response = rosa.post(but(flush(fleet), "id", to=DROP), headers={"Idempotency-Key": '"a-flush"'})
    assert response["Location"] == f"{VISITS}{response.json()['visit']}/"


def test_an_id_in_capitals_is_the_same_id(rosa: Phone, fleet: Fleet) -> None:
    body = flush(fleet)
    rosa.post(body)
    assert rosa.post({**body, "id": body["id"].upper()}).status_code == 200


def test_a_second_correction_is_refused_and_told_the_first(rosa: Phone, fleet: Fleet) -> None:
    body = flush(fleet)
    rosa.post(body)
    successor = rosa.post(correction(body)).json()["visit"]
    response = rosa.post(correction(body))
    assert (response.status_code, told(response)) == (409, [("corrected_already", "/corrects")])
    assert successor in response.json()["detail"]


def test_a_correction_can_be_corrected(rosa: Phone, fleet: Fleet) -> None:
    body = flush(fleet)
    rosa.post(body)
    second = correction(body)
    rosa.post(second)
    assert rosa.post(correction(second)).status_code == 201


def test_another_boilers_visit_cannot_be_corrected_from_here(rosa: Phone, fleet: Fleet) -> None:
    body = flush(fleet)
    rosa.post(body)
    response = rosa.post({**flush(fleet, "ALD12 B2"), "corrects": body["id"], "reason": "wrong boiler"})
    assert (response.status_code, told(response)) == (422, [("unknown_visit", "/corrects")])


def test_a_visit_cannot_correct_itself(rosa: Phone, fleet: Fleet) -> None:
    body = flush(fleet)
    assert told(rosa.post({**body, "corrects": body["id"], "reason": "a typo"})) == [("unknown_visit", "/corrects")]


def test_a_void_correction_without_entries_is_accepted_and_says_nothing_of_readiness(rosa: Phone, fleet: Fleet) -> None:
    body = flush(fleet)
    rosa.post(body)
    response = rosa.post(correction(body, void=True, entries=[]))
    assert (response.status_code, response.json()["readiness"]) == (201, None)


def test_a_void_correction_that_restates_entries_is_refused_and_not_dropped(rosa: Phone, fleet: Fleet) -> None:
    body = flush(fleet)
    rosa.post(body)
    assert told(rosa.post(correction(body, void=True))) == [("void_has_entries", "/entries")]


def test_a_visit_that_was_never_posted_has_no_answer(rosa: Phone) -> None:
    response = rosa.get(f"{VISITS}{uuid4()}/")
    assert (response.status_code, told(response)) == (404, [("not_found", "")])


@pytest.mark.parametrize("method", ["PUT", "PATCH", "DELETE"])
def test_a_visit_is_never_changed(method: str, rosa: Phone, fleet: Fleet) -> None:
    posted = rosa.post(flush(fleet))
    response = rosa.send(method, posted["Location"], json.dumps({"void": True}).encode())
    assert (response.status_code, told(response)) == (405, [("method_not_allowed", "")])
    assert response["Allow"] == "GET, HEAD, OPTIONS"


@pytest.mark.parametrize("method", ["PUT", "PATCH", "DELETE"])
def test_no_visit_of_the_list_is_changed_or_taken_away(method: str, rosa: Phone) -> None:
    response = rosa.send(method, VISITS)
    assert (response.status_code, response["Allow"]) == (405, "GET, POST, HEAD, OPTIONS")


@pytest.mark.parametrize(("role", "status"), [("inspector", 201), ("office", 403)])
def test_an_inspector_may_post_what_was_found(fleet: Fleet, role: str, status: int) -> None:
    ivo = make_person("ivo", fleet.portfolio, role, role)
    body = {**flush(fleet), "people": [{"user": str(ivo.id)}]}
    assert Phone.of(ivo).post(body).status_code == status
