"""What comes by a card counts as far as somebody stands behind it: bad news always, good news under a PIN."""

from datetime import timedelta

import pytest

from fleet import pipeline
from fleet.accounts.models import Grant, Qualification
from fleet.board import queries as board
from fleet.cards.models import CardPost, Pin
from fleet.cards.submissions import CardSubmission, LoggedEntry
from fleet.deficiencies.models import Deficiency
from fleet.rules.vocabulary import NameReply, OperatorRelay
from fleet.visits.models import Visit
from tests.cards.board import PIN, due_for_a_flush, flush_entry, flushed, give_pins, hang_card, send, upper_state
from tests.cards.board import verdict_of as verdict
from tests.cast import DAY, NOW, Fleet, standing
from tests.stories import story

pytestmark = pytest.mark.django_db
STEP = timedelta(seconds=1)


@story
def lapsed(fleet: Fleet) -> None:
    """The operator proof has lapsed; three people have PINs."""
    due_for_a_flush(fleet)
    give_pins(fleet)


def people(fleet: Fleet) -> dict[str, object]:
    return {pin.user.username: pin.user for pin in Pin.objects.select_related("user")}


@pytest.mark.parametrize(
    ("who", "pin", "proves", "outcome", "state"),
    [
        ("", "", "", "", "lapsed"),  # whoever walks by
        ("bram", "", "", "", "lapsed"),  # a name alone is no word
        ("bram", PIN, "partial", "right", "proven"),
        ("bram", "402728", "", "wrong", "lapsed"),
        ("bram", "402719", "", "wrong", "lapsed"),  # the PIN of Nora
        ("nora", "402719", "partial", "right", "proven"),
        ("mona", "402720", "", "right", "lapsed"),  # her own, and she is qualified for nothing
    ],
)
def test_a_flush_that_passed_proves_as_much_as_the_pin_behind_it(
    lapsed: Fleet, who: str, pin: str, proves: str, outcome: str, state: str
) -> None:
    operator = people(lapsed).get(who)
    answer = send(hang_card(lapsed), flushed(lapsed, operator=operator, pin=pin))  # type: ignore[arg-type]
    assert (verdict(answer.posted.visit).proves, answer.post.pin) == (proves, outcome)
    assert upper_state(lapsed) == state


@pytest.mark.parametrize(("who", "pin"), [("", ""), ("bram", "999999"), ("bram", PIN), ("mona", "402720")])
def test_bad_news_counts_whoever_sends_it_and_whatever_pin_stands_beside_it(lapsed: Fleet, who: str, pin: str) -> None:
    entry = flush_entry(lapsed, "fail", burner_stopped=False)
    send(hang_card(lapsed), flushed(lapsed, operator=people(lapsed).get(who), pin=pin, entries=(entry,)))  # type: ignore[arg-type]
    assert standing(lapsed.bench()) == "hold"


def test_a_technicians_pin_is_worth_an_operators_word_and_ends_no_hold(lapsed: Fleet) -> None:
    card, nora = hang_card(lapsed), people(lapsed)["nora"]
    send(card, flushed(lapsed, entries=(flush_entry(lapsed, "fail", burner_stopped=False),)), NOW - DAY / 2)
    drain = {"burner_firing": True, "burner_stopped": True, "trip_in": 2.5}
    place = lapsed.bench().places["upper"]
    lines = (LoggedEntry("test", "slow_drain", place, "pass", tuple(drain.items())), flush_entry(lapsed))
    answer = send(card, flushed(lapsed, operator=nora, pin="402719", entries=lines))  # type: ignore[arg-type]
    assert answer.post.pin == "right"
    assert standing(lapsed.bench()) == "hold"


def test_a_reset_pressed_under_a_technicians_pin_is_one_by_somebody_not_qualified(lapsed: Fleet) -> None:
    pressed = LoggedEntry("observe", "reset_pressed", lapsed.bench().places["limit"])
    send(hang_card(lapsed), flushed(lapsed, operator=people(lapsed)["nora"], pin="402719", entries=(pressed,)))  # type: ignore[arg-type]
    assert Deficiency.objects.filter(rule="reset_unqualified", closed_at=None).exists()


def test_what_a_card_logged_answers_nothing_about_firing_and_waits_for_nobody(lapsed: Fleet) -> None:
    answer = send(hang_card(lapsed), flushed(lapsed, operator=people(lapsed)["nora"], pin="402719"))  # type: ignore[arg-type]
    body = answer.posted.parse_body()
    assert (body["readiness"], body["waits_for_people"]) == (None, [])
    visit = Visit.objects.get(id=answer.posted.visit)
    assert (visit.posted_by, visit.kind, visit.performed_at) == (None, "routine_check", NOW)
    assert visit.operator_relay == OperatorRelay.PIN


@pytest.mark.parametrize(("reply", "state"), [(NameReply.DENIED, "lapsed"), (NameReply.SECONDED, "proven")])
def test_whose_pin_was_used_may_deny_it_as_anybody_named_may(lapsed: Fleet, reply: NameReply, state: str) -> None:
    bram = lapsed.caretaker
    answer = send(hang_card(lapsed), flushed(lapsed, operator=bram, pin=PIN))
    pipeline.reply_to_naming(visit=answer.posted.visit, by=bram, reply=reply, at=NOW + STEP)
    assert upper_state(lapsed) == state


@pytest.mark.parametrize(("left", "outcome"), [(-STEP, "wrong"), (timedelta(0), "wrong"), (STEP, "right")])
def test_a_pin_ends_with_its_holders_role_here(lapsed: Fleet, left: timedelta, outcome: str) -> None:
    Grant.objects.filter(user=lapsed.caretaker).update(until=NOW + left)
    assert send(hang_card(lapsed), flushed(lapsed, operator=lapsed.caretaker, pin=PIN)).post.pin == outcome


@pytest.mark.parametrize(("left", "proves"), [(-STEP, ""), (timedelta(0), ""), (STEP, "partial")])
def test_a_pin_is_worth_what_its_holder_is_qualified_for_at_that_instant(
    lapsed: Fleet, left: timedelta, proves: str
) -> None:
    Qualification.objects.filter(user=lapsed.caretaker).update(until=NOW + left)
    answer = send(hang_card(lapsed), flushed(lapsed, operator=lapsed.caretaker, pin=PIN))
    assert verdict(answer.posted.visit).proves == proves


def test_a_name_that_came_with_a_wrong_pin_is_kept_as_words_and_says_so(lapsed: Fleet) -> None:
    answer = send(hang_card(lapsed), flushed(lapsed, operator=lapsed.caretaker, pin="999999"))
    person = Visit.objects.get(id=answer.posted.visit).people.get()
    assert (person.user, person.name) == (None, "bram (without their PIN)")


def test_a_smell_of_gas_told_by_a_card_holds_the_boiler_and_is_an_alert(lapsed: Fleet) -> None:
    told = CardSubmission(flushed(lapsed).id, (LoggedEntry("observe", "gas_smell", None),), note="Call back: 555 0136")
    answer = send(hang_card(lapsed), told)
    assert standing(lapsed.bench()) == "hold"
    assert [f["rule"] for f in answer.posted.parse_body()["findings"]] == ["people_in_danger"]
    assert CardPost.objects.get().pin == ""
    segment = board.standing_of(lapsed.bench().boiler.id, NOW)
    assert segment is not None
