"""make_card, revoke_card, log_from_card: a boiler's card, and what comes by it with no account behind it."""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction

from fleet.accounts.models import User
from fleet.assessments.models import Answer
from fleet.cards import pins, queries
from fleet.cards.addresses import digest_of, key_mark, make_secret
from fleet.cards.models import Card, CardPost
from fleet.cards.submissions import CardSubmission
from fleet.errors import Refused
from fleet.files.declared import file_of_photograph
from fleet.files.services import MAX_PIECE_BYTES, SentPiece, take_piece
from fleet.pipeline.telling import record_and_tell
from fleet.pipeline.visits import PostedVisit, post_visits
from fleet.portfolio.locks import lock_boilers
from fleet.portfolio.models import Boiler
from fleet.records.events import Cause, ChangeEvent
from fleet.visits.incoming import Person
from fleet.visits.models import Photograph

# A card logs a handful of lines a day (common practice); who found its address gets no further than this.
MAX_POSTS_AN_HOUR, MAX_POSTS_A_DAY = 30, 120
CAUSE_NAME = "boiler-room card"  # in the log of changes
MAX_NAME_LENGTH = 80


@dataclass(frozen=True, slots=True)
class NewCard:
    """A new card with the secret of its address, which is not stored."""

    card: Card
    secret: str


@dataclass(frozen=True, slots=True)
class CardAnswer:
    """What a submission became: its visit with its answer, and what came of its PIN. `created` False: a repeat."""

    posted: PostedVisit
    post: CardPost


@transaction.atomic
def make_card(
    *, boiler: UUID, replaces: UUID | None, by: User, at: datetime, cause: Cause, secret: str | None = None
) -> NewCard:
    """Make a card for a boiler; the one in force ends, which `replaces` must name. Whether `by` may the door asks.

    `secret` is one of `make_secret` that is on the card's paper already; without it a new one is made.
    Raises Refused: 404 for an unknown boiler, 409 where another card, or none, is in force.
    """
    locked = next((b for b in lock_boilers([boiler]) if b.id == boiler), None)
    if locked is None:
        raise Refused("unknown_boiler", "Boiler not found.", ("boiler",), status=404)
    earlier = queries.current_card(boiler)
    if (earlier.id if earlier else None) != replaces:
        message = f"Card {earlier.id} is in force." if earlier else "No card is in force."
        raise Refused("card_in_force", f"{message} Name in `replaces` the one that ends.", ("replaces",), status=409)
    events = [_end_card(earlier, by, at)] if earlier else []
    secret = secret or make_secret()
    card = Card.objects.create(
        portfolio_id=locked.portfolio_id,
        boiler=locked,
        digest=digest_of(secret),
        key_mark=key_mark(),
        made_by=by,
        made_at=at,
    )
    events.append(_card_event(card, "card.made", f"{by.display_name} made the boiler-room card.", at))
    record_and_tell(portfolio=locked.portfolio_id, events=events, cause=cause, at=at)
    return NewCard(card, secret)


@transaction.atomic
def revoke_card(*, card: UUID, by: User, at: datetime, cause: Cause) -> Card:
    """End a card: its address is as unknown from now on. Ending it again changes nothing. Raises Refused (404)."""
    row = Card.objects.select_for_update(no_key=True).filter(id=card).first()
    if row is None:
        raise Refused("unknown_card", "Card not found.", status=404)
    if row.revoked_at is None:
        event = _end_card(row, by, at)
        record_and_tell(portfolio=row.portfolio_id, events=[event], cause=cause, at=at)
    return row


def _end_card(card: Card, by: User, at: datetime) -> ChangeEvent:
    card.revoked_at, card.revoked_by = at, by
    card.save(update_fields=["revoked_at", "revoked_by"])
    return _card_event(card, "card.ended", f"{by.display_name} ended the boiler-room card.", at)


def _card_event(card: Card, kind: str, sentence: str, at: datetime) -> ChangeEvent:
    return ChangeEvent(kind, card.id, boiler=card.boiler_id, before="", after="", sentence=sentence, rule="", at=at)


def log_from_card(*, card: UUID, submission: CardSubmission, at: datetime, request_id: str = "") -> CardAnswer:
    """Post what a card sent as a routine check of its boiler, at this instant.

    Bad news counts as anybody's. Good news counts as an operator's where the named operator's own PIN was right, and
    not at all else: a wrong PIN loses nothing of what was told, and is said. A repeat writes nothing.

    Raises Refused: 404 for a card that is not in force, 409 for other content under the same id, 429 over the card's
    limits, and whatever a visit is refused for.
    """
    row = Card.objects.filter(id=card, revoked_at=None).select_related("boiler").first()
    if row is None:
        raise Refused("unknown_card", "Card not found.", status=404)
    # Tried before anything is locked: hashing takes long, and a refused post must not take the try back.
    if CardPost.objects.filter(id=submission.id).exists():
        pin = pins.NO_PIN  # it is a repeat, and nothing of it is looked at
    else:
        _refuse_flood(card, at)
        pin = _try_pin(row.boiler, submission, at)
    with transaction.atomic():
        _lock_card(card)
        earlier = CardPost.objects.filter(id=submission.id).first()
        if earlier is not None:
            return _answer_repeat(earlier, submission, card)
        _refuse_flood(card, at)
        visit = submission.as_visit(row.boiler_id, _named_person(row.boiler, submission, pin, at), at)
        cause = Cause(who=CAUSE_NAME, request_id=request_id)
        posted = post_visits([visit], by=None, at=at, cause=cause, is_under_pin=pin == pins.RIGHT)[0]
        post = CardPost.objects.create(
            id=submission.id,
            portfolio_id=row.portfolio_id,
            card=row,
            visit_id=submission.id,
            digest=submission.digest,
            at=at,
            pin=pin,
        )
    return CardAnswer(posted, post)


def _lock_card(card: UUID) -> None:
    """Lock the card, so that its repeats and its limits are counted one after the other. Raises Refused (404)."""
    if Card.objects.select_for_update(no_key=True).filter(id=card, revoked_at=None).first() is None:
        raise Refused("unknown_card", "Card not found.", status=404)


def _answer_repeat(earlier: CardPost, submission: CardSubmission, card: UUID) -> CardAnswer:
    if earlier.card_id != card or earlier.digest != submission.digest:
        raise Refused("id_taken", "This form was already sent with other content.", ("id",), status=409)
    body = Answer.objects.get(visit=earlier.visit_id).body
    return CardAnswer(PostedVisit(earlier.visit_id, body, created=False), earlier)


def _refuse_flood(card: UUID, at: datetime) -> None:
    for span, limit in ((timedelta(hours=1), MAX_POSTS_AN_HOUR), (timedelta(days=1), MAX_POSTS_A_DAY)):
        if queries.count_posts_since(card, at - span) >= limit:
            message = "Too much was logged by this card. Nothing was saved: tell it to somebody."
            raise Refused("too_many", message, status=429)


def _try_pin(boiler: Boiler, submission: CardSubmission, at: datetime) -> str:
    if submission.operator is None or not submission.pin:
        return pins.NO_PIN
    return pins.try_pin(boiler=boiler, user=submission.operator, pin=submission.pin, at=at)


def _named_person(boiler: Boiler, submission: CardSubmission, pin: str, at: datetime) -> Person | None:
    """Return who is named: the operator under his own PIN, else only a name, with how it was given."""
    if pin == pins.RIGHT:
        return Person(user=submission.operator)
    name = submission.name
    if submission.operator is not None:
        offered = {person.id: person.display_name for person in pins.operators_with_pin(boiler, at)}
        name = f"{offered.get(submission.operator, name)} (without their PIN)"
    return Person(user=None, name=name[:MAX_NAME_LENGTH]) if name else None


def keep_card_picture(*, card: UUID, submission: CardSubmission, content: bytes, at: datetime) -> None:
    """Keep the picture that a submission declared; a repeat adds nothing. Raises Refused as `take_piece` does."""
    photograph = Photograph.objects.filter(visit=submission.id, visit__card_post__card=card).first()
    if photograph is None:
        return
    for start in range(0, len(content), MAX_PIECE_BYTES):
        piece = SentPiece(start, len(content), content[start : start + MAX_PIECE_BYTES])
        take_piece(declared=file_of_photograph(photograph), piece=piece, by=None, at=at)


def without_picture(submission: CardSubmission) -> CardSubmission:
    """Return a submission whose picture could not be read: what it tells is not lost with it."""
    return replace(submission, picture=None)
