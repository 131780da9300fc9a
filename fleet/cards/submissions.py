"""What a card sends: entries of one visit, who says it, and words. Its digest tells a repeat from something else."""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from fleet.cards.questions import NO, PROCEDURES, RESET_PRESSED, YES, AskedReading
from fleet.rules.values import Value
from fleet.visits.incoming import IncomingEntry, IncomingPhotograph, IncomingVisit, Person

CARD_VISIT_KIND = "routine_check"
MAX_RESETS = 5  # presses told at once; more are as many
MISSING, NO_NUMBER, NOT_POSSIBLE = "missing", "no_number", "not_possible"


@dataclass(frozen=True, slots=True)
class LoggedEntry:
    """One line: a test with its claim and readings, or something seen. `position` None: of the boiler as a whole."""

    act: str
    code: str
    position: UUID | None
    outcome: str = ""
    readings: tuple[tuple[str, Value], ...] = ()

    def at_instant(self, at: datetime) -> IncomingEntry:
        """Return it as an entry of a visit."""
        return IncomingEntry(
            act=self.act,
            code=self.code,
            position=self.position,
            at=at,
            outcome=self.outcome,
            readings=dict(self.readings),
        )


@dataclass(frozen=True, slots=True)
class CardSubmission:
    """One form of a card as it was sent. `operator` is whose PIN is given with it, `name` what somebody wrote."""

    id: UUID
    entries: tuple[LoggedEntry, ...]
    name: str = ""
    operator: UUID | None = None
    pin: str = ""
    note: str = ""
    picture: IncomingPhotograph | None = None

    @property
    def digest(self) -> str:
        """The SHA-256 of all but the PIN: a repeat with another PIN is a repeat."""
        lines = [[e.act, e.code, str(e.position), e.outcome, e.readings] for e in self.entries]
        picture = self.picture.sha256 if self.picture else ""
        content = [str(self.id), lines, self.name, str(self.operator), self.note, picture]
        return hashlib.sha256(json.dumps(content).encode()).hexdigest()

    def as_visit(self, boiler: UUID, person: Person | None, at: datetime) -> IncomingVisit:
        """Return it as a visit of this instant: a card speaks of what is so now, and a paper log of what was."""
        return IncomingVisit(
            id=self.id,
            boiler=boiler,
            kind=CARD_VISIT_KIND,
            performed_at=at,
            entries=tuple(entry.at_instant(at) for entry in self.entries),
            people=(person,) if person else (),
            note=self.note,
            photographs=(self.picture,) if self.picture else (),
        )


@dataclass(frozen=True, slots=True)
class ReadAnswers:
    """The answers of a form as values, and what is wrong with those that are none, by the reading's name."""

    readings: Mapping[str, Value]
    faults: Mapping[str, str]
    claim: str


def read_answers(questions: Sequence[AskedReading], sent: Mapping[str, str]) -> ReadAnswers:
    """Read what was answered. Behind an answer that already decides the test nothing more is needed."""
    readings: dict[str, Value] = {}
    faults: dict[str, str] = {}
    claims: list[str] = []
    for reading in questions:
        text = sent.get(reading.name, "").strip()
        if not text:
            faults |= {} if claims else {reading.name: MISSING}
            continue
        value, fault = _read_value(reading, text)
        if fault:
            faults[reading.name] = fault
            continue
        readings[reading.name] = value
        if reading.expects and text not in reading.expects:
            claims.append("fail" if reading.otherwise == "fail" else "inconclusive")
    claim = "fail" if "fail" in claims else claims[0] if claims else "pass"
    return ReadAnswers(readings, faults, claim)


def _read_value(reading: AskedReading, text: str) -> tuple[Value, str]:
    if reading.type == "number":
        return _read_number(reading, text)
    if text not in {answer.value for answer in reading.answers}:
        return None, MISSING
    return ({YES: True, NO: False}[text] if reading.type == "bool" else text), ""


def _read_number(reading: AskedReading, text: str) -> tuple[Value, str]:
    try:
        number = float(text.replace(",", ".", 1))
    except ValueError:
        return None, NO_NUMBER
    low = reading.low if reading.low is not None else float("-inf")
    high = reading.high if reading.high is not None else float("inf")
    return (number, "") if low <= number <= high else (None, NOT_POSSIBLE)  # false for what is not a number


def test_entry(form: str, position: UUID, answers: ReadAnswers) -> LoggedEntry:
    """Return the test that a form of `questions.PROCEDURES` logs."""
    return LoggedEntry(
        "test", PROCEDURES[form], position, outcome=answers.claim, readings=tuple(answers.readings.items())
    )


def reset_entries(position: UUID, presses: int) -> tuple[LoggedEntry, ...]:
    """Return one entry for each press of a reset."""
    return tuple(LoggedEntry("observe", RESET_PRESSED, position) for _ in range(presses))
