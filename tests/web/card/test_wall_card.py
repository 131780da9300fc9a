"""The card for who has an account: printing it, ending it, and a PIN of one's own."""

import re
from typing import Any
from unittest.mock import Mock

import pytest
from django.core.management import call_command
from django.test import Client

from fleet.cards.models import Card, Pin
from fleet.cards.queries import current_card
from fleet.visits.models import NameAnswer
from tests.cards.board import PIN, due_for_a_flush, flushed, hang_card, send, upper_state
from tests.cards.pdf_text import text_of
from tests.cast import DAY, NOW, Fleet, make_person
from tests.stories import story
from tests.web.conftest import SetClock, SignIn

pytestmark = pytest.mark.django_db


@story
def lapsed(fleet: Fleet) -> None:
    """The operator proof of the upper cutoff has lapsed."""
    due_for_a_flush(fleet)


def page(fleet: Fleet, act: str = "") -> str:
    return f"/boilers/{fleet.bench().boiler.id}/wall-card/{act}"


def test_a_card_is_printed_once_and_its_code_opens_it(rosa: Client, fleet: Fleet) -> None:
    printed = rosa.post(page(fleet, "print/"), {"replaces": ""})
    assert (printed["Content-Type"], printed["Content-Disposition"]) == (
        "application/pdf",
        'attachment; filename="card-ALD12-B1.pdf"',
    )
    assert "no-store" in printed["Cache-Control"]
    assert "12AlderTerrace" in text_of(printed.content).replace(" ", "")
    assert "Never used" in rosa.get(page(fleet)).text


def test_a_new_print_ends_the_old_card_only_after_it_was_said(rosa: Client, fleet: Fleet) -> None:
    rosa.post(page(fleet, "print/"), {"replaces": ""})
    first = current_card(fleet.bench().boiler.id)
    assert first is not None
    asked = rosa.get(page(fleet)).text
    assert "Printing a new card ends the one on the wall." in asked
    assert re.search(r'type="checkbox" required', asked)
    stale = rosa.post(page(fleet, "print/"), {"replaces": ""})
    assert (stale.status_code, "in the meantime" in stale.text, Card.objects.count()) == (409, True, 1)
    assert rosa.post(page(fleet, "print/"), {"replaces": str(first.id)}).status_code == 200
    first.refresh_from_db()
    assert first.revoked_at is not None


def test_a_paper_that_cannot_be_drawn_leaves_the_card_on_the_wall_in_force(
    rosa: Client, fleet: Fleet, monkeypatch: pytest.MonkeyPatch
) -> None:
    hung = hang_card(fleet).card
    monkeypatch.setattr("fleet.cards.paper.typst.compile", Mock(side_effect=RuntimeError("no font")))
    rosa.raise_request_exception = False
    failed = rosa.post(page(fleet, "print/"), {"replaces": str(hung.id)})
    assert (failed.status_code, "completely or not at all" in failed.text) == (500, True)
    assert current_card(fleet.bench().boiler.id) == hung


def test_a_card_of_another_signing_key_is_said_to_open_nothing(
    rosa: Client, fleet: Fleet, capsys: pytest.CaptureFixture[str]
) -> None:
    card = hang_card(fleet).card
    assert "opens nothing" not in rosa.get(page(fleet)).text
    Card.objects.filter(id=card.id).update(key_mark="another")
    assert "the code on this card opens nothing." in rosa.get(page(fleet)).text
    call_command("next_steps")
    assert "1 boiler-room card was printed under another signing key" in capsys.readouterr().out


def test_what_ending_a_card_does_is_said_as_what_comes(rosa: Client, fleet: Fleet) -> None:
    hang_card(fleet)
    assert "Once it is ended, whoever has its address can log nothing any more." in rosa.get(page(fleet)).text


@pytest.mark.parametrize("replaces", ["x", "00000000-0000-0000-0000-000000000000"])
def test_a_form_that_names_no_card_prints_nothing(rosa: Client, fleet: Fleet, replaces: str) -> None:
    assert rosa.post(page(fleet, "print/"), {"replaces": replaces}).status_code == 409
    assert not Card.objects.exists()


def test_a_card_is_ended_and_ending_it_again_changes_nothing(rosa: Client, fleet: Fleet) -> None:
    card = hang_card(fleet)
    for _ in range(2):
        assert rosa.post(page(fleet, "end/"), {"card": str(card.card.id)}).status_code == 302
    assert Client().get(f"/card/{card.secret}/").status_code == 404
    assert rosa.post(page(fleet, "end/"), {"card": ""}).status_code == 404


MAKERS = {"technician": 200, "dispatcher": 200, "manager": 200, "owner": 200}
OTHERS = {"caretaker": 404, "inspector": 404, "office": 404}


@pytest.mark.parametrize(("role", "status"), {**MAKERS, **OTHERS}.items())
def test_who_prints_cards(fleet: Fleet, sign_in: SignIn, clock: SetClock, role: str, status: int) -> None:
    client = sign_in(make_person("somebody", fleet.portfolio, role))
    boiler_page = client.get(f"/boilers/{fleet.bench().boiler.id}/").text
    assert ("Print the boiler-room card" in boiler_page) == (status == 200)
    assert client.get(page(fleet)).status_code == status
    assert client.post(page(fleet, "print/"), {"replaces": ""}).status_code == status


def test_the_address_is_on_no_page(rosa: Client, fleet: Fleet) -> None:
    card = hang_card(fleet)
    assert card.secret not in rosa.get(page(fleet)).text


@pytest.fixture
def bram(lapsed: Fleet, sign_in: SignIn, clock: SetClock) -> Client:
    return sign_in(lapsed.caretaker)


def set_pin(client: Client, fleet: Fleet, pin: str = PIN, again: str | None = None, **more: str) -> Any:
    fields = {"portfolio": str(fleet.portfolio.id), "pin": pin, "again": pin if again is None else again}
    return client.post("/account/card-pin/", {**fields, **more})


def test_a_pin_set_on_the_account_page_renews_a_proof_on_the_card(bram: Client, lapsed: Fleet) -> None:
    assert set_pin(bram, lapsed).status_code == 302
    send(hang_card(lapsed), flushed(lapsed, operator=lapsed.caretaker, pin=PIN))
    assert upper_state(lapsed) == "proven"
    assert "Logged under it lately" in bram.get("/account/").text


@pytest.mark.parametrize(("pin", "again"), [("123456", "123456"), (PIN, "402719"), ("", "")])
def test_a_pin_that_is_none_is_refused_with_its_rule(bram: Client, lapsed: Fleet, pin: str, again: str) -> None:
    refused = set_pin(bram, lapsed, pin, again)
    assert refused.status_code == 422
    assert 'class="fault"' in refused.text
    assert not Pin.objects.exists()


def test_a_pin_is_removed_and_is_wrong_from_then_on(bram: Client, lapsed: Fleet) -> None:
    set_pin(bram, lapsed)
    set_pin(bram, lapsed, remove="yes")
    assert not Pin.objects.exists()
    assert send(hang_card(lapsed), flushed(lapsed, operator=lapsed.caretaker, pin=PIN)).post.pin == "wrong"


def test_nobody_sets_a_pin_where_he_has_no_role(lapsed: Fleet, sign_in: SignIn, clock: SetClock) -> None:
    assert set_pin(sign_in(lapsed.outsider), lapsed).status_code == 404
    assert set_pin(Client(), lapsed)["Location"].startswith("/sign-in/")


def test_a_closed_pin_says_so_to_its_holder(bram: Client, lapsed: Fleet) -> None:
    set_pin(bram, lapsed)
    Pin.objects.update(failures=20, closed_until=NOW - DAY)
    assert "closed after" in bram.get("/account/").text


def test_whose_pin_was_used_denies_it_on_the_visits_page(bram: Client, lapsed: Fleet) -> None:
    set_pin(bram, lapsed)
    visit = send(hang_card(lapsed), flushed(lapsed, operator=lapsed.caretaker, pin=PIN)).posted.visit
    assert "under the PIN of bram" in bram.get(f"/visits/{visit}/").text
    bram.post(f"/visits/{visit}/deny/", {"reason": "I was on holiday."})
    assert NameAnswer.objects.get().answer == "denied"
    assert upper_state(lapsed) == "lapsed"
    assert "Deny this visit" not in bram.get(f"/visits/{visit}/").text


def test_a_visit_by_a_card_reads_well_where_nobody_is_named(rosa: Client, fleet: Fleet) -> None:
    visit = send(hang_card(fleet), flushed(fleet, name="K. O.")).posted.visit
    shown = rosa.get(f"/visits/{visit}/").text
    assert "K. O." in shown
    assert "with no account and no PIN behind it" in shown
