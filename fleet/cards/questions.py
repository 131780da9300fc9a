"""What a card asks of one boiler: its places, the questions of each, and what an answer means at once."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from fleet.cards.caretaker_words import CaretakerAct, act_for_finding
from fleet.catalog import queries as catalog
from fleet.catalog.field_words import (
    Question,
    choice_words,
    expected_answers,
    first_finding,
    outcome_otherwise,
    reading_question,
    roles_that_need,
)
from fleet.portfolio import queries as register
from fleet.portfolio.models import Boiler, Position
from fleet.rules.catalogue import Catalogue, ProcedureSpec, ReadingSpec
from fleet.visits import places as visit_places

# What is logged, in the order of the buttons, and the procedure of each.
PROCEDURES = {
    "flush": "flush",
    "level": "level_observation",
    "pressure": "pressure_observation",
    "meter": "meter_reading",
}
RESET, TROUBLE = "reset", "trouble"
FORMS = (*PROCEDURES, RESET, TROUBLE)
RESET_PRESSED = "reset_pressed"
YES, NO = "yes", "no"


@dataclass(frozen=True, slots=True)
class OfferedAnswer:
    """One answer: its value in the form, its words, and what a caretaker does at once where it makes a hold."""

    value: str
    words: str
    act: CaretakerAct | None = None
    is_no_test: bool = False


@dataclass(frozen=True, slots=True)
class AskedReading:
    """One reading as the card asks it. `otherwise` is what the test is where the answer is none of `expects`."""

    name: str
    type: str
    ask: str
    unit: str
    low: float | None
    high: float | None
    answers: Sequence[OfferedAnswer]
    expects: Sequence[str]
    otherwise: str


@dataclass(frozen=True, slots=True)
class CardPlaces:
    """The filled places of a boiler by their ids, by what can be logged there, and all by their roles."""

    release: Catalogue
    by_form: Mapping[str, Sequence[Position]]
    by_role: Mapping[str, Sequence[Position]]

    def find_place(self, form: str, position: str) -> Position | None:
        """Return the place that a form names; where it names none, the only one."""
        places = self.by_form.get(form, ())
        if not position and len(places) == 1:
            return places[0]
        return next((place for place in places if str(place.id) == position), None)


def read_places(boiler: Boiler, at: datetime) -> CardPlaces:
    """Read where something can be logged on this boiler now."""
    release = catalog.catalogue_at(at)
    positions = list(register.positions_of(Boiler.objects.filter(id=boiler.id)).order_by("name", "id"))
    kinds = _kinds_at([p.id for p in positions], at)
    filled = [p for p in positions if p.id in kinds]
    by_form = {
        form: [p for p in filled if kinds[p.id] in release.procedures[code].kinds] for form, code in PROCEDURES.items()
    }
    reset_roles = release.observations[RESET_PRESSED].roles
    by_form[RESET] = [p for p in filled if p.role_id in reset_roles]
    roles = {p.role_id for p in filled}
    return CardPlaces(release, by_form, {role: [p for p in filled if p.role_id == role] for role in roles})


def _kinds_at(positions: Sequence[UUID], at: datetime) -> dict[UUID, str]:
    """Return the kind of device at each filled place."""
    stays = {
        p: visit_places.present_stay(place_stays)
        for p, place_stays in visit_places.stays_at_places(positions, at).items()
    }
    return {position: stay.device.kind_id for position, stay in stays.items() if stay}


def ask_readings(procedure: ProcedureSpec, role: str, language: str) -> list[AskedReading]:
    """Return what a caretaker is asked of a procedure at a place of this role: what it needs, and nothing more."""
    needed = [r for r in procedure.readings.values() if r.required or role in roles_that_need(r)]
    return [_ask_reading(procedure, spec, role=role, language=language) for spec in needed]


def _ask_reading(procedure: ProcedureSpec, spec: ReadingSpec, *, role: str, language: str) -> AskedReading:
    question = reading_question(procedure.code, spec, language)
    expects = (YES,) if role in roles_that_need(spec) else tuple(expected_answers(spec))
    otherwise = outcome_otherwise(spec)
    act = act_for_finding(first_finding(procedure, spec))
    words = _words_of_answers(spec, question, language)
    answers = [
        OfferedAnswer(
            value,
            text,
            act=act if is_wrong and otherwise == "fail" else None,
            is_no_test=is_wrong and otherwise == "not_a_test",
        )
        for value, text in words
        for is_wrong in [bool(expects) and value not in expects]
    ]
    return AskedReading(
        spec.name,
        spec.type,
        question.ask,
        unit=spec.unit,
        low=spec.low,
        high=spec.high,
        answers=answers,
        expects=expects,
        otherwise=otherwise,
    )


def _words_of_answers(spec: ReadingSpec, question: Question, language: str) -> list[tuple[str, str]]:
    if spec.type == "bool":
        return [(YES, question.yes), (NO, question.no)]
    return [(choice, choice_words(spec.name, choice, language)) for choice in spec.choices]
