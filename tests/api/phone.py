"""A device in the field with its key, and the bodies it sends."""

import copy
import json
from dataclasses import dataclass
from typing import Any
from uuid import uuid4

from django.test import Client

from fleet.accounts import keys
from fleet.accounts.models import Key, User
from tests.cast import DAY, NOW, Fleet

VISITS = "/api/v1/visits/"
WIRE = Client()  # a key needs no cookie: one chain of middleware serves every phone
DROP = object()
Body = dict[str, Any]
Path = tuple[str | int, ...]


@dataclass(frozen=True)
class Phone:
    """Sends as one person."""

    key: str

    @classmethod
    def of(cls, user: User) -> "Phone":
        """A phone with a new key, used a moment ago: its first use is a write of its own."""
        phone = cls(keys.make_unscoped_key(user=user, name="phone", expires_at=NOW + 365 * DAY))
        Key.objects.filter(user=user).update(last_used_at=NOW)
        return phone

    def send(self, method: str, path: str, data: Any = b"", **more: Any) -> Any:
        """Send anything; what is not bytes goes as JSON."""
        body = data if isinstance(data, bytes) else json.dumps(data).encode()
        headers = {"Authorization": f"Bearer {self.key}", **more.pop("headers", {})}
        return WIRE.generic(method, path, body, **{"content_type": "application/json", **more}, headers=headers)

    def get(self, path: str) -> Any:
        """Read."""
        return self.send("GET", path)

    def post(self, data: Any, **more: Any) -> Any:
        """Post a visit."""
        return self.send("POST", VISITS, data, **more)


def flush(fleet: Fleet, key: str = "ALD12 B1") -> Body:
    """A flush that passed, an hour ago."""
    bench = fleet.bench(key)
    readings = {"burner_firing": True, "water": "runs", "burner_stopped": True, "recovery": "prompt"}
    entry = {"test": "flush", "position": str(bench.places["upper"]), "outcome": "pass", "readings": readings}
    return {
        "id": str(uuid4()),
        "boiler": str(bench.boiler.id),
        "kind": "routine_check",
        "performed_at": "2026-01-12T08:00:00-05:00",
        "people": [{"user": str(fleet.technician.id)}],
        "entries": [entry],
    }


def limit(fleet: Fleet) -> Body:
    """A visit with the one test that measures, and one that sets."""
    body = flush(fleet)
    place = str(fleet.bench().places["limit"])
    readings = {"trip_psi": 7.9, "stayed_off_minutes": 4, "psi_when_checked": 2, "call_on": True}
    test = {"test": "limit_trip", "position": place, "outcome": "pass", "readings": readings}
    new = {"position": place, "with": {"kind": "limit_control", "set_psi": 8}}
    return {**body, "entries": [test, {"replace": new}, {"set": {"position": place, "set_psi": 8}}]}


def but(body: Body, *path: str | int, to: Any) -> Body:
    """The body with one place changed, added or (DROP) left out."""
    made = copy.deepcopy(body)
    place: Any = made
    for step in path[:-1]:
        place = place[step]
    if to is DROP:
        del place[path[-1]]
    elif isinstance(place, list) and path[-1] == len(place):
        place.append(to)
    else:
        place[path[-1]] = to
    return made


def told(response: Any) -> list[tuple[str, str]]:
    """(code, pointer) of every fault of a problem."""
    assert response["Content-Type"] == "application/problem+json", response.content[:500]
    return [(e["code"], e["pointer"]) for e in response.json()["errors"]]
