"""Asking what a visit would be answered: the post's own answer, and nothing stored."""

from typing import Any

import pytest
from django.apps import apps
from django.db import connection

from fleet import pipeline
from fleet.accounts.models import RefusedPost
from fleet.visits.models import Visit
from tests.api.phone import Phone, flush, told
from tests.cast import NOW, Fleet

pytestmark = pytest.mark.django_db
CHECK = "/api/v1/visits/check/"
TOUCHED_BY_READING = {"accounts_key"}  # when a key was last used


def check(phone: Phone, body: Any) -> Any:
    return phone.send("POST", CHECK, body)


def contents() -> dict[str, str]:
    """A digest of every table."""
    digests = {}
    with connection.cursor() as cursor:
        for model in apps.get_models():
            table = model._meta.db_table
            cursor.execute(
                f"select md5(coalesce(string_agg(t::text, chr(10) order by t::text), '')) from \"{table}\" t"
            )
            digests[table] = cursor.fetchone()[0]
    return {table: digest for table, digest in digests.items() if table not in TOUCHED_BY_READING}


@pytest.mark.parametrize("stopped", [True, False])
def test_it_answers_what_the_post_will_answer(rosa: Phone, fleet: Fleet, stopped: bool) -> None:
    body = flush(fleet)
    body["entries"][0] |= {"outcome": "pass" if stopped else "fail"}
    body["entries"][0]["readings"]["burner_stopped"] = stopped
    checked = check(rosa, body)
    posted = rosa.post(body)
    assert checked.status_code == 200
    assert posted.status_code == 201
    assert checked.json() == posted.json()


def test_no_row_of_any_table_is_other_than_before(rosa: Phone, fleet: Fleet) -> None:
    before = contents()
    body = flush(fleet)
    body["entries"][0]["readings"]["burner_stopped"] = False
    assert check(rosa, body).json()["standing"]["after"] == "hold"
    assert contents() == before


def test_what_was_checked_and_never_posted_is_in_no_later_judgement(rosa: Phone, fleet: Fleet) -> None:
    failing = flush(fleet)
    failing["entries"][0]["readings"]["burner_stopped"] = False
    check(rosa, failing)
    answer = rosa.post(flush(fleet)).json()
    assert answer["standing"]["after"] != "hold"
    assert [d["rule"] for d in answer["deficiencies"] if d["rule"].startswith("flush")] == []
    assert pipeline.rebuild(at=NOW) == 0


def test_a_visit_that_would_be_refused_is_told_so_and_not_kept_for_the_office(rosa: Phone, fleet: Fleet) -> None:
    body = flush(fleet)
    body["entries"][0]["readings"]["water"] = "gushes"
    response = check(rosa, body)
    assert response.status_code == 422
    assert told(response) == [("unknown_choice", "/entries/0/readings/water")]
    assert not RefusedPost.objects.exists()


def test_a_visit_already_posted_gets_its_first_answer(rosa: Phone, fleet: Fleet) -> None:
    body = flush(fleet)
    posted = rosa.post(body).json()
    assert check(rosa, body).json() == posted
    assert Visit.objects.filter(id=body["id"]).count() == 1


def test_other_content_under_a_known_id_is_told(rosa: Phone, fleet: Fleet) -> None:
    body = flush(fleet)
    rosa.post(body)
    response = check(rosa, {**body, "note": "changed"})
    assert response.status_code == 409
    assert told(response) == [("id_taken", "/id")]


def test_whoever_may_not_post_may_not_ask(fleet: Fleet) -> None:
    assert check(Phone.of(fleet.outsider), flush(fleet)).status_code == 404
