"""A guess, a repeat and a flood get nowhere; an ended card is as unknown as one that never was."""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import DatabaseError, IntegrityError, connection, transaction

from fleet import pipeline
from fleet.accounts.models import User
from fleet.board.models import Change
from fleet.cards import addresses, form_tokens, pins, queries
from fleet.cards.form_tokens import FormToken, read_token, write_token
from fleet.cards.models import Card, CardPost, Pin
from fleet.errors import Refused
from fleet.pipeline.cards import MAX_POSTS_A_DAY, MAX_POSTS_AN_HOUR
from fleet.records.events import Cause
from fleet.visits.models import Visit
from tests.cards.board import PIN, due_for_a_flush, flush_entry, flushed, give_pins, hang_card, send, upper_state
from tests.cast import DAY, NOW, Fleet, make_person
from tests.site_role import as_tables_owner
from tests.stories import story

pytestmark = pytest.mark.django_db
SECOND = timedelta(seconds=1)
OTHER_LETTER = {"A": "B"}


@story
def lapsed(fleet: Fleet) -> None:
    """The operator proof has lapsed; three people have PINs."""
    due_for_a_flush(fleet)
    give_pins(fleet)


def refusal(act: Callable[[], object]) -> tuple[int, str]:
    with pytest.raises(Refused) as refused, transaction.atomic():
        act()
    return refused.value.status, refused.value.faults[0].code


def changed(text: str, place: int) -> str:
    return text[:place] + OTHER_LETTER.get(text[place], "A") + text[place + 1 :]


@pytest.mark.parametrize("place", range(addresses.SECRET_LENGTH))
def test_an_address_with_any_one_character_changed_is_a_guess(place: int) -> None:
    secret = addresses.make_secret()
    assert addresses.is_signed(secret)
    assert not addresses.is_signed(changed(secret, place))


@pytest.mark.parametrize("text", ["", "x", "A" * 44, "A" * 45, "=" * 44, "é" * 44, "\x00" * 44])
def test_what_is_no_address_is_a_guess(text: str) -> None:
    assert not addresses.is_signed(text)


def test_a_guess_costs_no_look_into_the_database(django_assert_num_queries: Callable[[int], object]) -> None:
    with django_assert_num_queries(0):  # type: ignore[attr-defined]
        assert queries.card_in_force("A" * 44) is None


def test_only_the_hash_of_an_address_is_stored(fleet: Fleet) -> None:
    card = hang_card(fleet)
    assert queries.card_in_force(card.secret) == card.card
    stored = [str(value) for row in Card.objects.values_list() for value in row]
    assert not [value for value in stored if card.secret in value]


def test_a_card_of_another_signing_key_is_told_as_one_that_opens_nothing(fleet: Fleet, settings: Any) -> None:
    of_now, of_before = hang_card(fleet), hang_card(fleet, key="ALD12 B2")
    Card.objects.filter(id=of_before.card.id).update(key_mark="")  # made before the mark was kept: not known
    assert not queries.cards_of_another_key().exists()
    settings.SECRET_KEY = "another key, which is as long as a signing key has to be 0123456789"
    assert queries.card_in_force(of_now.secret) is None
    assert list(queries.cards_of_another_key()) == [of_now.card]


def test_a_new_card_ends_the_one_before_it_and_both_are_in_the_log(fleet: Fleet) -> None:
    old, new = hang_card(fleet), hang_card(fleet, NOW)
    assert queries.card_in_force(old.secret) is None
    assert queries.card_in_force(new.secret) == new.card
    assert list(
        Change.objects.filter(kind__startswith="card.").order_by("version", "number").values_list("kind", flat=True)
    ) == [
        "card.made",
        "card.ended",
        "card.made",
    ]


def test_an_ended_card_is_as_unknown_as_one_that_never_was(fleet: Fleet) -> None:
    card = hang_card(fleet)
    pipeline.revoke_card(card=card.card.id, by=fleet.technician, at=NOW, cause=Cause())
    assert queries.card_in_force(card.secret) is None
    unknown = replace(card, card=Card(id=uuid4()))
    assert refusal(lambda: send(card, flushed(fleet))) == refusal(lambda: send(unknown, flushed(fleet)))
    assert not CardPost.objects.exists()


def test_ending_a_card_twice_keeps_who_ended_it_first(fleet: Fleet) -> None:
    card, mona = hang_card(fleet).card.id, make_person("mona", fleet.portfolio, "manager")
    for by, at in ((fleet.technician, NOW), (mona, NOW + DAY)):
        pipeline.revoke_card(card=card, by=by, at=at, cause=Cause())
    assert Card.objects.values_list("revoked_by__username", "revoked_at").get() == ("rosa", NOW)


def test_the_database_holds_one_card_of_a_boiler_and_removes_none(fleet: Fleet) -> None:
    card = hang_card(fleet).card
    again = Card(
        portfolio_id=card.portfolio_id, boiler_id=card.boiler_id, digest="x", made_by=card.made_by, made_at=NOW
    )
    with pytest.raises(IntegrityError), transaction.atomic():
        again.save()
    with as_tables_owner(), pytest.raises(DatabaseError, match="never removed"), transaction.atomic():
        connection.cursor().execute("DELETE FROM cards_card")


def test_a_repeat_gets_the_first_answer_and_makes_nothing_twice(lapsed: Fleet) -> None:
    card, told = hang_card(lapsed), flushed(lapsed)
    first, again = send(card, told), send(card, told, NOW + timedelta(hours=3))
    assert (first.posted.created, again.posted.created) == (True, False)
    assert (first.posted.body, first.posted.visit) == (again.posted.body, again.posted.visit)
    assert (CardPost.objects.count(), Visit.objects.filter(card_post__isnull=False).count()) == (1, 1)


def test_a_repeat_with_the_right_pin_makes_no_proof_of_what_was_sent_without(lapsed: Fleet) -> None:
    card, told = hang_card(lapsed), flushed(lapsed, operator=lapsed.caretaker, pin="999999")
    send(card, told)
    again = send(card, replace(told, pin=PIN))
    assert (again.posted.created, again.post.pin, upper_state(lapsed)) == (False, "wrong", "lapsed")


def test_other_content_under_a_known_id_is_refused(lapsed: Fleet) -> None:
    card, told = hang_card(lapsed), flushed(lapsed)
    send(card, told)
    other = replace(told, entries=(flush_entry(lapsed, "fail", burner_stopped=False),))
    assert refusal(lambda: send(card, other)) == (409, "id_taken")


def test_what_was_sent_by_one_card_is_not_answered_to_another(lapsed: Fleet) -> None:
    told = flushed(lapsed)
    send(hang_card(lapsed), told)
    assert refusal(lambda: send(hang_card(lapsed, key="ALD12 B2"), told)) == (409, "id_taken")


def post_rows(card: Card, count: int, fleet: Fleet) -> None:
    """So many posts of a card in its last minutes, as rows beside one visit each."""
    for number in range(count):
        visit = replace(fleet.flushed(NOW - DAY / 4), id=uuid4())
        row = Visit.objects.create(
            id=visit.id,
            portfolio_id=card.portfolio_id,
            boiler_id=card.boiler_id,
            kind=visit.kind,
            performed_at=NOW - DAY / 4,
            posted_at=NOW - DAY / 4,
            state_on_arrival="unknown",
            digest="",
        )
        at = NOW - timedelta(hours=1) + number * SECOND
        CardPost.objects.create(portfolio_id=card.portfolio_id, card=card, visit=row, digest="", at=at, pin="")


@pytest.mark.parametrize(("later", "is_refused"), [(-SECOND, True), (timedelta(0), False)])
def test_a_card_logs_so_much_in_an_hour_and_no_more(fleet: Fleet, later: timedelta, is_refused: bool) -> None:
    card = hang_card(fleet)
    post_rows(card.card, MAX_POSTS_AN_HOUR, fleet)
    assert MAX_POSTS_A_DAY > MAX_POSTS_AN_HOUR
    if is_refused:
        assert refusal(lambda: send(card, flushed(fleet), NOW + later)) == (429, "too_many")
    else:
        assert send(card, flushed(fleet), NOW + later).posted.created


def test_over_its_limit_a_card_looks_at_no_pin(lapsed: Fleet) -> None:
    card = hang_card(lapsed)
    post_rows(card.card, MAX_POSTS_AN_HOUR, lapsed)
    told = flushed(lapsed, operator=lapsed.caretaker, pin="999999")
    assert refusal(lambda: send(card, told, NOW - SECOND)) == (429, "too_many")
    assert Pin.objects.get(user=lapsed.caretaker).failures == 0


def try_pin(fleet: Fleet, user: User, pin: str, seconds: float = 0) -> str:
    return pins.try_pin(boiler=fleet.bench().boiler, user=user.id, pin=pin, at=NOW + timedelta(seconds=seconds))


def test_wrong_pins_close_it_for_a_while_and_the_right_one_is_not_looked_at_meanwhile(lapsed: Fleet) -> None:
    bram = lapsed.caretaker
    assert [try_pin(lapsed, bram, "999999") for _ in range(pins.FREE_TRIES + 1)] == ["wrong"] * 5
    assert [try_pin(lapsed, bram, PIN, s) for s in (0, 29, 30)] == ["closed", "closed", "right"]
    assert Pin.objects.get(user=bram).failures == 0


def test_after_twenty_wrong_ones_only_its_holder_opens_it_again(lapsed: Fleet) -> None:
    bram = lapsed.caretaker
    Pin.objects.filter(user=bram).update(failures=pins.MAX_TRIES - 1, closed_until=NOW)
    assert try_pin(lapsed, bram, "999999") == "wrong"
    assert try_pin(lapsed, bram, PIN, 10**7) == "closed"
    pins.set_pin(user=bram, portfolio=lapsed.portfolio.id, pin="290417", at=NOW)
    assert try_pin(lapsed, bram, "290417") == "right"


def test_the_wait_after_wrong_pins_doubles_up_to_an_hour() -> None:
    waits = [pins.wait_after(failures).total_seconds() for failures in (0, 4, 5, 6, 7, 11, 12, 20)]
    assert waits == [0, 0, 30, 60, 120, 1920, 3600, 3600]


@pytest.mark.parametrize("pin", ["", "12345", "123456789", "123456", "654321", "777777", "40271a", "٤٠٢٧١٨", "402 718"])
def test_what_is_no_pin_or_easily_guessed_is_refused(fleet: Fleet, pin: str) -> None:
    assert refusal(lambda: pins.set_pin(user=fleet.caretaker, portfolio=fleet.portfolio.id, pin=pin, at=NOW)) == (
        422,
        "weak_pin",
    )


def test_a_pin_is_stored_as_a_password_is(lapsed: Fleet) -> None:
    stored = Pin.objects.get(user=lapsed.caretaker).digest
    assert PIN not in stored
    assert "$" in stored


TOKEN = FormToken(uuid4(), NOW)


@pytest.mark.parametrize("place", [0, 10, 31, 33, 43, 44, 60])
def test_a_forms_token_with_a_character_changed_is_none(place: int) -> None:
    text = write_token("secret", TOKEN)
    assert read_token("secret", text, NOW) == TOKEN
    assert read_token("secret", changed(text, place), NOW) is None


@pytest.mark.parametrize("text", ["", ".", "..", "a.b.c", "é.1.2"])
def test_what_is_no_token_is_none(text: str) -> None:
    assert read_token("secret", text, NOW) is None


def test_a_token_of_another_card_is_none() -> None:
    assert read_token("other", write_token("secret", TOKEN), NOW) is None


@pytest.mark.parametrize(
    ("age", "fresh"),
    [
        (form_tokens.MAX_AGE, True),
        (form_tokens.MAX_AGE + SECOND, False),
        (-form_tokens.MAX_AHEAD, True),
        (-form_tokens.MAX_AHEAD - SECOND, False),
    ],
)
def test_a_form_shown_long_ago_is_no_word_of_now(age: timedelta, fresh: bool) -> None:
    assert TOKEN.is_fresh_at(NOW + age) == fresh
