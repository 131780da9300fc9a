"""The card's pages as anybody with its address gets them: forms, answers, danger, languages, and nothing more."""

import json
import logging
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client

from fleet import pipeline
from fleet.accounts.models import User
from fleet.cards import addresses
from fleet.cards.form_tokens import MAX_AGE
from fleet.cards.models import CardPost
from fleet.deficiencies.models import Deficiency
from fleet.logs import JsonLines, redact_secrets
from fleet.pipeline.cards import NewCard
from fleet.records.events import Cause
from fleet.visits.models import Visit
from fleet.web.card import card_door
from tests.cards.board import PIN, hang_card, upper_state
from tests.cast import DAY, NOW, Fleet, standing
from tests.stories import story
from tests.web.card.conftest import FLUSH, Caller, SetClock, furnish

pytestmark = pytest.mark.django_db
FORMS = ("flush", "level", "pressure", "reset", "trouble")
WATER_ACT = "ADD NO WATER"


@story
def boiler_room(fleet: Fleet) -> None:
    """A lapsed operator proof, people with PINs, a glass, a gauge and a meter."""
    furnish(fleet)


def upper(fleet: Fleet) -> str:
    return str(fleet.bench().places["upper"])


def flush(fleet: Fleet, **fields: str) -> dict[str, str]:
    return {"place": upper(fleet), **FLUSH, **fields}


def followed(caller: Caller, response: Any) -> str:
    assert response.status_code == 302, response.text
    page: str = caller.client.get(response["Location"]).text
    return page


def test_the_card_shows_the_danger_before_its_buttons_and_what_one_does_not_do(caller: Caller) -> None:
    page = caller.client.get(caller.path()).text
    order = [
        "EVERYBODY OUT",
        "SOMETHING IS WRONG",
        "FLUSH",
        "WATER LEVEL",
        "PRESSURE",
        "A RESET WAS PRESSED",
        "RESET NOTHING",
    ]
    assert [page.find(text) for text in order] == sorted(page.find(text) for text in order)
    assert min(page.find(text) for text in order) > 0


def test_the_card_says_nothing_of_the_boiler_but_which_one_it_is(caller: Caller, boiler_room: Fleet) -> None:
    page = caller.client.get(caller.path()).text
    assert "12 Alder Terrace" in page
    assert not [word for word in ("lapsed", "exposed", "hold", "rosa", "bram", "sign-in") if word in page.lower()]


def test_no_session_and_no_cookie_is_made_and_no_other_page_is_told_the_address(caller: Caller) -> None:
    response = caller.client.get(caller.path("trouble/"))
    assert not response.cookies
    headers = {
        name: response[name]
        for name in ("Referrer-Policy", "X-Robots-Tag", "Cache-Control", "Vary")
        if name in response
    }
    assert headers["Referrer-Policy"] == "no-referrer"
    assert headers["X-Robots-Tag"] == "noindex, nofollow"
    assert "no-store" in headers["Cache-Control"]


def test_a_flush_under_a_pin_is_written_down_and_renews_the_proof(caller: Caller, boiler_room: Fleet) -> None:
    bram = boiler_room.caretaker
    page = followed(caller, caller.send("flush", flush(boiler_room, operator=str(bram.id), pin=PIN)))
    assert "it counts as an operator" in page
    assert upper_state(boiler_room) == "proven"


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({}, "without a PIN and proves nothing"),
        ({"operator": "bram", "pin": "999999"}, "The PIN was not right"),
        ({"operator": "mona", "pin": "402720"}, "not on record as an operator"),
        ({"operator": "olga", "pin": PIN}, "without a PIN and proves nothing"),  # nobody offered here
        ({"burner_firing": "no"}, "it was no test"),
    ],
)
def test_what_proves_nothing_is_written_down_and_says_so(
    caller: Caller, boiler_room: Fleet, fields: dict[str, str], says: str
) -> None:
    if "operator" in fields:
        fields = {**fields, "operator": str(User.objects.get(username=fields["operator"]).id)}
    assert says in followed(caller, caller.send("flush", flush(boiler_room, **fields)))
    assert (CardPost.objects.count(), upper_state(boiler_room)) == (1, "lapsed")


@pytest.mark.parametrize(
    ("form", "fields", "act"),
    [
        ("flush", {**FLUSH, "burner_stopped": "no"}, "SWITCH THE BURNER OFF BY HAND"),
        ("flush", {**FLUSH, "water": "none"}, WATER_ACT),
        ("level", {"line_visible": "no"}, WATER_ACT),
        ("trouble", {"trouble": "gas_smell"}, "Touch no switch"),
        ("trouble", {"trouble": "alarm_sounding"}, "Carbon monoxide has no smell"),
        ("trouble", {"trouble": "no_line_visible"}, WATER_ACT),
        ("trouble", {"trouble": "flooded"}, "STAY OUT OF THE WATER"),
    ],
)
def test_what_makes_a_hold_is_answered_with_what_to_do_at_once(
    caller: Caller, boiler_room: Fleet, form: str, fields: dict[str, str], act: str
) -> None:
    if form == "flush":
        fields = {**fields, "place": upper(boiler_room)}
    page = followed(caller, caller.send(form, fields))
    assert page.find(act) < page.find("It is written down")
    assert standing(boiler_room.bench()) == "hold"


def test_pressing_a_reset_is_told_once_for_each_press(caller: Caller, boiler_room: Fleet) -> None:
    place = str(boiler_room.bench().places["limit"])
    followed(caller, caller.send("reset", {"place": place, "presses": "3"}))
    visit = Visit.objects.get(card_post__isnull=False)
    assert [entry.code for entry in visit.entries.order_by("number")] == ["reset_pressed"] * 3
    assert standing(boiler_room.bench()) == "hold"


def test_a_pressure_is_taken_with_a_comma_too(caller: Caller, boiler_room: Fleet) -> None:
    followed(caller, caller.send("pressure", {"gauge_psi": "6,5"}))
    assert Visit.objects.get(card_post__isnull=False).entries.get().readings.get().number == 6.5


@pytest.mark.parametrize("number", ["", "high", "nan", "inf", "-6", "61", "1e400"])
def test_what_is_no_pressure_is_said_at_its_question_and_nothing_is_saved(caller: Caller, number: str) -> None:
    response = caller.send("pressure", {"gauge_psi": number})
    assert response.status_code == 422
    assert "Nothing was saved yet" in response.text
    assert not CardPost.objects.exists()


def test_what_was_answered_stays_where_something_is_missing(caller: Caller, boiler_room: Fleet) -> None:
    fields = flush(boiler_room)
    del fields["recovery"]
    response = caller.send("flush", fields)
    assert response.status_code == 422
    assert response.text.count(" checked>") == 4  # three answers, and no PIN
    assert response.text.count("Answer this.") == 1


def test_trouble_keeps_its_words_for_the_office(caller: Caller, boiler_room: Fleet) -> None:
    fields = {
        "trouble": "something_else",
        "since": "yesterday",
        "call_back": "+1 555 0136",
        "words": "Hums at <night>.",
    }
    followed(caller, caller.send("trouble", fields))
    note = Visit.objects.get(card_post__isnull=False).note
    assert note.splitlines() == [
        "Told by the boiler-room card: SOMETHING ELSE.",
        "Since: since yesterday.",
        "Call back: +1 555 0136.",
        "In their words: Hums at <night>.",
    ]
    assert Deficiency.objects.filter(rule="trouble_told", closed_at=None).exists()


def test_something_else_without_words_is_asked_for_them(caller: Caller) -> None:
    response = caller.send("trouble", {"trouble": "something_else"})
    assert (response.status_code, CardPost.objects.count()) == (422, 0)


def test_a_repeat_of_a_form_leads_to_what_became_of_it_and_makes_nothing_twice(
    caller: Caller, boiler_room: Fleet
) -> None:
    fields = flush(boiler_room, token=caller.token("flush", f"?place={upper(boiler_room)}"))
    first, again = (caller.send("flush", fields)["Location"] for _ in range(2))
    assert (first, CardPost.objects.count()) == (again, 1)


def test_a_form_with_other_answers_under_the_same_token_changes_nothing(caller: Caller, boiler_room: Fleet) -> None:
    fields = flush(boiler_room, token=caller.token("flush", f"?place={upper(boiler_room)}"))
    caller.send("flush", {**fields, "burner_stopped": "no"})
    caller.send("flush", fields)
    assert (CardPost.objects.count(), standing(boiler_room.bench())) == (1, "hold")


@pytest.mark.parametrize("token", ["", "x", "0" * 32 + ".1.x"])
def test_a_form_without_a_token_of_this_card_is_shown_again_with_its_answers(
    caller: Caller, boiler_room: Fleet, token: str
) -> None:
    response = caller.client.post(caller.path("flush/"), flush(boiler_room, token=token))
    assert (response.status_code, CardPost.objects.count()) == (422, 0)
    assert response.text.count(" checked>") == 5


@pytest.mark.parametrize(("later", "status"), [(timedelta(0), 302), (timedelta(seconds=1), 422)])
def test_a_form_shown_half_a_day_ago_asks_to_look_again(
    caller: Caller, boiler_room: Fleet, card_clock: SetClock, later: timedelta, status: int
) -> None:
    fields = flush(boiler_room, token=caller.token("flush", f"?place={upper(boiler_room)}"))
    card_clock(NOW + MAX_AGE + later)
    assert caller.send("flush", fields).status_code == status


def unknown_addresses(card: NewCard, fleet: Fleet) -> dict[str, str]:
    pipeline.revoke_card(card=card.card.id, by=fleet.technician, at=NOW, cause=Cause())
    return {"ended": card.secret, "signed, and of no card": addresses.make_secret(), "guessed": "A" * 44, "short": "x"}


@pytest.mark.parametrize("page", ["", "trouble/", "nothing/", "logged/00000000-0000-0000-0000-000000000000/"])
@pytest.mark.parametrize("method", ["get", "post"])
def test_guessed_ended_and_unknown_addresses_are_answered_alike(
    caller: Caller, card: NewCard, boiler_room: Fleet, page: str, method: str
) -> None:
    answers = set()
    for secret in unknown_addresses(card, boiler_room).values():
        response = getattr(caller.client, method)(f"/card/{secret}/{page}", REMOTE_ADDR=f"10.0.0.{len(secret)}")
        answers.add((response.status_code, response.content))
    assert len(answers) == 1
    status, content = answers.pop()
    assert status == 404
    assert b"This card is not in use" in content
    assert "Esta tarjeta no está en uso".encode() in content
    assert b"Alder" not in content


def test_a_form_of_an_ended_card_is_answered_as_a_guess(caller: Caller, card: NewCard, boiler_room: Fleet) -> None:
    token = caller.token("trouble")
    pipeline.revoke_card(card=card.card.id, by=boiler_room.technician, at=NOW, cause=Cause())
    response = caller.client.post(caller.path("trouble/"), {"token": token, "trouble": "gas_smell"})
    assert (response.status_code, CardPost.objects.count()) == (404, 0)


def test_who_guesses_is_answered_nothing_more_in_that_minute(
    caller: Caller, settings: Any, card_clock: SetClock
) -> None:
    settings.BAD_KEYS_A_MINUTE = 3
    guesses = [caller.client.get(f"/card/{'A' * 44}/").status_code for _ in range(3)]
    refused = caller.client.get(caller.path())
    assert (guesses, refused.status_code, int(refused["Retry-After"])) == ([404] * 3, 429, 60)
    assert "everybody out" in refused.text
    assert caller.client.get(caller.path(), REMOTE_ADDR="10.1.1.1").status_code == 200
    card_clock(NOW + timedelta(minutes=1))
    assert caller.client.get(caller.path()).status_code == 200


def test_a_flood_from_one_address_is_refused_before_anything_is_looked_at(
    caller: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(card_door, "POSTS_A_MINUTE", 2)
    statuses = [caller.client.post(caller.path("level/"), {}).status_code for _ in range(4)]
    assert statuses == [422, 422, 429, 429]


def test_over_the_cards_own_limit_the_act_still_stands_and_nothing_is_said_to_be_saved(
    caller: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("fleet.pipeline.cards.MAX_POSTS_AN_HOUR", 0)
    response = caller.send("trouble", {"trouble": "gas_smell"})
    assert response.status_code == 429
    assert "NOTHING WAS SAVED" in response.text
    assert 'class="does-gas" checked' in response.text


@pytest.mark.parametrize(
    ("header", "query", "language"),
    [
        ("", "", "en"),
        ("es-MX,es;q=0.9", "", "es"),
        ("de, es;q=0.5", "", "es"),
        ("es", "?lang=en", "en"),
        ("en", "?lang=es", "es"),
        ("", "?lang=xx", "en"),
    ],
)
def test_the_language_is_the_one_named_else_the_first_known_that_is_asked_for(
    caller: Caller, header: str, query: str, language: str
) -> None:
    page = caller.client.get(caller.path("", query), headers={"accept-language": header}).text
    assert f'<html lang="{language}">' in page
    assert ("NO REPONGA NADA" in page, "RESET NOTHING" in page) == (language == "es", language == "en")


def test_a_form_in_spanish_says_everything_in_spanish_and_that_nobody_has_read_it(
    caller: Caller, boiler_room: Fleet
) -> None:
    page = caller.client.get(caller.path("flush/", f"?place={upper(boiler_room)}&lang=es")).text
    for text in (
        "¿Qué hizo el quemador?",
        "SIGUIÓ ENCENDIDO",
        "Agua hirviendo",
        "SIN PIN",
        "GUARDAR",
        "todavía no ha leído",
    ):
        assert text in page
    assert "APAGUE EL QUEMADOR A MANO" in page


def test_the_language_of_one_request_is_not_that_of_the_next(caller: Caller) -> None:
    caller.client.get(caller.path("", "?lang=es"))
    assert "Sign in" in caller.client.get("/sign-in/").text


def test_another_cards_submission_is_not_shown(caller: Caller, boiler_room: Fleet) -> None:
    logged = caller.send("level", {"line_visible": "yes"})["Location"]
    other = hang_card(boiler_room, key="ALD12 B2")
    assert caller.client.get(logged).status_code == 200
    assert caller.client.get(logged.replace(caller.secret, other.secret)).status_code == 404


@pytest.mark.parametrize("form", FORMS)
def test_a_place_of_another_boiler_is_no_place_of_this_card(caller: Caller, boiler_room: Fleet, form: str) -> None:
    place = boiler_room.bench("ALD12 B2").places["upper"]
    response = caller.client.post(caller.path(f"{form}/"), {**FLUSH, "place": str(place), "presses": "1"})
    assert response.status_code == (422 if form in ("trouble", "reset") else 404)
    assert not CardPost.objects.exists()


def test_a_form_with_text_that_cannot_be_stored_is_refused(caller: Caller) -> None:
    body = f"token={caller.token('trouble')}&trouble=something_else&words=%00"
    response = caller.client.post(caller.path("trouble/"), body, content_type="application/x-www-form-urlencoded")
    assert (response.status_code, CardPost.objects.count()) == (400, 0)


def test_the_address_is_in_no_line_of_the_log(caller: Caller, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.INFO):
        caller.client.get(caller.path("flush/"))
    lines = [JsonLines().format(record) for record in caplog.records]
    assert [json.loads(line)["path"] for line in lines if "path" in json.loads(line)] == ["/card/…/flush/"]
    assert caller.secret not in "".join(lines)
    assert redact_secrets(f"GET https://x/card/{caller.secret}?lang=es") == "GET https://x/card/…"


def test_who_is_signed_in_is_nobody_more_here(caller: Caller, boiler_room: Fleet) -> None:
    caller.client.force_login(boiler_room.technician)
    followed(caller, caller.send("level", {"line_visible": "yes"}))
    visit = Visit.objects.get(card_post__isnull=False)
    assert (visit.posted_by, visit.people.count()) == (None, 0)


def test_what_stands_in_it_is_of_this_instant(caller: Caller, card_clock: SetClock) -> None:
    card_clock(NOW + DAY)
    caller.send("level", {"line_visible": "yes"})
    assert Visit.objects.get(card_post__isnull=False).performed_at == NOW + DAY


def test_the_client_of_the_tests_checks_tokens(caller: Caller) -> None:
    assert Client(enforce_csrf_checks=True).post("/sign-in/", {}).status_code == 403
