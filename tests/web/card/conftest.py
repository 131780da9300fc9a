"""Fixtures of the card's pages: a boiler whose flush is due, its card, somebody with no account, a clock."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from types import SimpleNamespace
from typing import Any

import pytest
from django.test import Client

from fleet.pipeline.cards import NewCard
from fleet.web.card import card_door
from tests.cards.board import due_for_a_flush, give_pins, hang_card
from tests.cast import NOW, Fleet
from tests.web.boiler_room import fit

SetClock = Callable[[datetime], None]
TOKEN = re.compile(r'name="token" value="([^"]+)"')
FLUSH = {"burner_firing": "yes", "water": "runs", "burner_stopped": "yes", "recovery": "prompt"}


def furnish(fleet: Fleet) -> None:
    """The operator proof has lapsed; three people have PINs; a glass, a gauge and a meter are there too."""
    for ref, kind in (("glass", "gauge_glass"), ("gauge", "gauge"), ("meter", "makeup_meter")):
        fit(fleet, ref, kind, kind)
    due_for_a_flush(fleet)
    give_pins(fleet)


@pytest.fixture
def card_clock(monkeypatch: pytest.MonkeyPatch) -> SetClock:
    """Put the clock of the card's door, at NOW until then."""

    def put(at: datetime) -> None:
        monkeypatch.setattr(card_door, "timezone", SimpleNamespace(now=lambda: at))

    put(NOW)
    return put


@dataclass
class Caller:
    """Somebody with a telephone, a card's address and no account."""

    client: Client
    secret: str

    def path(self, page: str = "", query: str = "") -> str:
        return f"/card/{self.secret}/{page}{query}"

    def token(self, form: str, query: str = "") -> str:
        found = TOKEN.search(self.client.get(self.path(f"{form}/", query)).text)
        assert found is not None
        return found[1]

    def send(self, form: str, fields: dict[str, Any], **more: Any) -> Any:
        """Fill a form in and send it; a token given is used again."""
        values = {"token": fields.get("token") or self.token(form, self.query(fields)), **fields}
        return self.client.post(self.path(f"{form}/"), values, **more)

    @staticmethod
    def query(fields: dict[str, Any]) -> str:
        return f"?place={fields['place']}" if "place" in fields else ""


@pytest.fixture
def card(boiler_room: Fleet, card_clock: SetClock) -> NewCard:
    return hang_card(boiler_room)


@pytest.fixture
def caller(card: NewCard) -> Caller:
    return Caller(Client(enforce_csrf_checks=True), card.secret)
