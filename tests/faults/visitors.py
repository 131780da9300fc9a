"""Clients that post visits with ids of their own until each is acknowledged, whatever the site does."""

import http.client
import json
import random
import threading
import time
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

ANSWER_SECONDS = 20.0
RETRY_SECONDS = 0.2
LEFT_WELL = (
    "jumpers_off",
    "set_points_read",
    "feed_open",
    "drains_shut",
    "glass_cocks_open",
    "resets_in",
    "water_at_line",
    "tags_accounted",
)
GOOD_FLUSH = {"burner_firing": True, "water": "runs", "burner_stopped": True, "recovery": "prompt"}
Visit = dict[str, Any]


@dataclass
class PostLedger:
    """What was acknowledged, by id, with the body of the first answer; what was refused; and what it took."""

    acknowledged: dict[str, str] = field(default_factory=dict)
    entry_counts: dict[str, int] = field(default_factory=dict)
    refused: list[str] = field(default_factory=list)
    different_answers: list[str] = field(default_factory=list)
    tries: int = 0
    repeated: int = 0
    answers_thrown_away: int = 0
    lock: threading.Lock = field(default_factory=threading.Lock)

    def note_answer(self, visit: Visit, body: str) -> None:
        """Note an acknowledgement. A second one of the same visit must say the same."""
        with self.lock:
            first = self.acknowledged.setdefault(visit["id"], body)
            self.entry_counts[visit["id"]] = len(visit["entries"])
            if first != body:
                self.different_answers.append(visit["id"])


@dataclass
class VisitPoster:
    """One client. Its luck follows from `chance` alone."""

    port: int
    setup: Mapping[str, Any]
    chance: random.Random
    ledger: PostLedger
    has_ended: threading.Event
    pause: float

    def run(self) -> None:
        """Post visit after visit until the end; the last one, too, until it is acknowledged."""
        while not self.has_ended.is_set():
            self.post_until_acknowledged(self._next_visit())
            time.sleep(self.chance.uniform(0, 2 * self.pause))

    def post_until_acknowledged(self, visit: Visit) -> None:
        """Post one visit. Some answers are thrown away unread, and some visits are posted once more afterwards."""
        content = json.dumps(visit)
        throws_away = self.chance.random() < 0.05
        while True:
            with self.ledger.lock:
                self.ledger.tries += 1
            answer = self._send(content, throws_away)
            throws_away = False
            if answer is not None and answer[0] in (200, 201):
                self.ledger.note_answer(visit, answer[1])
                break
            if answer is not None and answer[0] < 500 and answer[0] != 429:
                with self.ledger.lock:
                    self.ledger.refused.append(f"{answer[0]} {answer[1][:300]}")
                return
            time.sleep(RETRY_SECONDS)
        if self.chance.random() < 0.1:
            self._post_again(visit, content)

    def _post_again(self, visit: Visit, content: str) -> None:
        answer = self._send(content, throws_away=False)
        if answer is not None and answer[0] in (200, 201):
            self.ledger.note_answer(visit, answer[1])
            with self.ledger.lock:
                self.ledger.repeated += 1

    def _send(self, content: str, throws_away: bool) -> tuple[int, str] | None:
        """Send a visit and return status and body; None where no answer came, or was not waited for."""
        client = http.client.HTTPConnection("127.0.0.1", self.port, timeout=ANSWER_SECONDS)
        headers = {"Authorization": f"Bearer {self.setup['key']}", "Content-Type": "application/json"}
        try:
            client.request("POST", "/api/v1/visits/", content, headers)
            if throws_away:
                with self.ledger.lock:
                    self.ledger.answers_thrown_away += 1
                return None
            answer = client.getresponse()
            return answer.status, answer.read().decode()
        except (OSError, http.client.HTTPException):
            return None
        finally:
            client.close()

    def _next_visit(self) -> Visit:
        boiler = self.chance.choice(self.setup["boilers"])
        luck = self.chance.random()
        entries = _failed_flush(boiler) if luck < 0.35 else _repair(boiler) if luck < 0.8 else _flush(boiler)
        visit = {
            "id": str(uuid.UUID(int=self.chance.getrandbits(128), version=4)),
            "boiler": boiler["id"],
            "kind": "follow_up",
            "performed_at": datetime.now(UTC).isoformat(),
            "people": [{"user": self.setup["user"]}],
            "state_on_arrival": "firing",
            "left_as": "on_call" if luck >= 0.35 else "off_locked",
            "entries": entries,
        }
        if luck >= 0.35:
            told = [{"name": "Ines Okafor", "how": "phone"}]
            visit["leaving_checks"] = {**dict.fromkeys(LEFT_WELL, True), "told": told}
        return visit


def _flush(boiler: Mapping[str, str]) -> list[Visit]:
    return [{"test": "flush", "position": boiler["upper"], "outcome": "pass", "readings": GOOD_FLUSH}]


def _failed_flush(boiler: Mapping[str, str]) -> list[Visit]:
    readings = {**GOOD_FLUSH, "burner_stopped": False}
    return [{"test": "flush", "position": boiler["upper"], "outcome": "fail", "readings": readings}]


def _repair(boiler: Mapping[str, str]) -> list[Visit]:
    drained = {"burner_firing": True, "burner_stopped": True, "trip_in": 2.5}
    return [
        {"action": "open_clean", "position": boiler["upper"]},
        {"action": "open_clean", "position": boiler["chamber"]},
        {"test": "slow_drain", "position": boiler["upper"], "outcome": "pass", "readings": drained},
        *_flush(boiler),
    ]


def start_posters(posters: Sequence[VisitPoster]) -> list[threading.Thread]:
    """Start each client in a thread of its own."""
    threads = [threading.Thread(target=poster.run, name=f"poster-{n}") for n, poster in enumerate(posters)]
    for thread in threads:
        thread.start()
    return threads
