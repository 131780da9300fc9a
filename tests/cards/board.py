"""A boiler with its card on the wall, and forms of it as they are sent."""

from datetime import datetime
from typing import Any
from uuid import UUID, uuid4

from fleet import pipeline
from fleet.accounts.models import User
from fleet.assessments.models import Verdict
from fleet.board.models import StateSegment
from fleet.cards.pins import set_pin
from fleet.cards.queries import current_card
from fleet.cards.submissions import CardSubmission, LoggedEntry
from fleet.pipeline.cards import CardAnswer, NewCard
from fleet.records.events import Cause
from tests.cast import DAY, NOW, Fleet, make_person

PIN = "402718"
WHOLE_FLUSH = {"burner_firing": True, "water": "runs", "burner_stopped": True, "recovery": "prompt"}


def hang_card(fleet: Fleet, at: datetime = NOW - DAY, key: str = "ALD12 B1") -> NewCard:
    """A card made by the technician."""
    boiler = fleet.bench(key).boiler.id
    earlier = current_card(boiler)
    replaces = earlier.id if earlier else None
    return pipeline.make_card(boiler=boiler, replaces=replaces, by=fleet.technician, at=at, cause=Cause())


def flush_entry(fleet: Fleet, outcome: str = "pass", **readings: Any) -> LoggedEntry:
    """The upper cutoff flushed; readings given replace the good ones."""
    place = fleet.bench().places["upper"]
    return LoggedEntry("test", "flush", place, outcome, tuple({**WHOLE_FLUSH, **readings}.items()))


def flushed(fleet: Fleet, *, operator: User | None = None, pin: str = "", **more: Any) -> CardSubmission:
    """A flush that passed, under a PIN where one is given."""
    values = {"id": uuid4(), "entries": (flush_entry(fleet),), "operator": operator.id if operator else None}
    return CardSubmission(**{**values, "pin": pin, **more})


def send(card: NewCard, submission: CardSubmission, at: datetime = NOW) -> CardAnswer:
    return pipeline.log_from_card(card=card.card.id, submission=submission, at=at)


def give_pins(fleet: Fleet, at: datetime = NOW - DAY) -> dict[str, User]:
    """People with a PIN: Bram, an operator; Nora, a technician and operator; Mona, qualified for nothing."""
    people = {
        "bram": fleet.caretaker,
        "nora": make_person("nora", fleet.portfolio, "technician", "technician", "operator"),
        "mona": make_person("mona", fleet.portfolio, "manager"),
    }
    for number, user in enumerate(people.values()):
        set_pin(user=user, portfolio=fleet.portfolio.id, pin=str(int(PIN) + number), at=at)
    return people


def due_for_a_flush(fleet: Fleet) -> None:
    """Serviced 40 days ago, so that the operator proof of the upper cutoff has lapsed."""
    fleet.post(fleet.serviced(NOW - 40 * DAY), at=NOW - 40 * DAY)


def upper_state(fleet: Fleet) -> str:
    place = fleet.bench().places["upper"]
    return StateSegment.objects.filter(position=place, since__lte=NOW).exclude(until__lte=NOW).get().state


def verdict_of(visit: UUID) -> Verdict:
    return Verdict.objects.get(entry__visit=visit, entry__code="flush")
