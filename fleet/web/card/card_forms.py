"""The forms of a card: what stands in them, and what was sent in one as a submission."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext as _

from fleet.accounts.models import User
from fleet.cards.caretaker_words import CaretakerAct, ToldTrouble, told_troubles
from fleet.cards.form_tokens import FormToken
from fleet.cards.questions import PROCEDURES, RESET, TROUBLE, AskedReading, CardPlaces, ask_readings
from fleet.cards.submissions import (
    MAX_RESETS,
    MISSING,
    CardSubmission,
    LoggedEntry,
    read_answers,
    reset_entries,
    test_entry,
)
from fleet.portfolio.models import Position
from fleet.visits.incoming import IncomingPhotograph

MAX_NAME_LENGTH, MAX_WORDS_LENGTH, MAX_NUMBER_LENGTH = 80, 1000, 40
PRESSES = tuple(str(number) for number in range(1, MAX_RESETS + 1))
SINCE = {"now": "just now", "today": "earlier today", "yesterday": "since yesterday", "longer": "for longer"}


@dataclass(frozen=True, slots=True)
class FormAnswer:
    """One answer of a question: what is sent by it, its words, whether it is chosen, and what is done at once."""

    value: str
    words: str
    is_chosen: bool = False
    act: CaretakerAct | None = None
    is_no_test: bool = False

    @property
    def mark(self) -> str:
        """The class by which the page shows at once what the answer asks for."""
        return f"does-{self.act.code}" if self.act else "no-test" if self.is_no_test else ""


@dataclass(frozen=True, slots=True)
class FormQuestion:
    """One question of a form; without answers it is a number. `fault` is what is wrong with what was sent."""

    name: str
    ask: str
    answers: Sequence[FormAnswer] = ()
    unit: str = ""
    value: str = ""
    fault: str = ""

    @property
    def acts(self) -> list[CaretakerAct]:
        """What its answers ask for, each once."""
        return list({a.act.code: a.act for a in self.answers if a.act}.values())

    @property
    def has_no_test(self) -> bool:
        """Whether one of its answers makes it no test."""
        return any(answer.is_no_test for answer in self.answers)


@dataclass(frozen=True, slots=True)
class CardForm:
    """One form of a card as it stands: its questions with what was sent, and what was read of it."""

    code: str
    place: Position | None
    questions: Sequence[FormQuestion]
    entries: tuple[LoggedEntry, ...] = ()
    note: str = ""
    caution: str = ""  # of the catalogue, in English
    sent: Mapping[str, str] = field(default_factory=dict)

    @property
    def is_whole(self) -> bool:
        """Whether all that was asked was answered."""
        return bool(self.entries) and not any(question.fault for question in self.questions)


def build_form(code: str, places: CardPlaces, place_id: str, sent: Mapping[str, str], language: str) -> CardForm | None:
    """Return a form with what was sent in it ({}: nothing yet); None where this boiler has nothing to log so."""
    place = places.find_place(code, place_id)
    if code == TROUBLE:
        return _trouble_form(places, sent, language)
    if code == RESET:
        return _reset_form(places, sent) if places.by_form[RESET] else None
    return _test_form(code, place, places, sent, language=language) if place else None


def _test_form(code: str, place: Position, places: CardPlaces, sent: Mapping[str, str], *, language: str) -> CardForm:
    readings = ask_readings(places.release.procedures[PROCEDURES[code]], place.role_id, language)
    answers = read_answers(readings, sent)
    faults = answers.faults if sent else {}
    questions = [_reading_question(reading, sent, faults.get(reading.name, "")) for reading in readings]
    entries = (test_entry(code, place.id, answers),) if sent and not faults else ()
    caution = places.release.procedures[PROCEDURES[code]].caution
    return CardForm(code, place, questions, entries=entries, caution=caution, sent=sent)


def _reading_question(reading: AskedReading, sent: Mapping[str, str], fault: str) -> FormQuestion:
    value = sent.get(reading.name, "")
    answers = [FormAnswer(a.value, a.words, a.value == value, a.act, is_no_test=a.is_no_test) for a in reading.answers]
    limits = f"{reading.low:g} ... {reading.high:g} {reading.unit}" if reading.low is not None else ""
    sentence = f"{_fault_sentence(fault)} {limits}".strip() if fault and not answers else _fault_sentence(fault)
    return FormQuestion(reading.name, reading.ask, answers, unit=reading.unit, value=value[:20], fault=sentence)


def _fault_sentence(fault: str) -> str:
    if not fault:
        return ""
    return _("Answer this.") if fault == MISSING else _("That cannot be. Type the number as it stands there.")


def _reset_form(places: CardPlaces, sent: Mapping[str, str]) -> CardForm:
    place, presses = places.find_place(RESET, sent.get("place", "")), sent.get("presses", "")
    faults = [MISSING if sent and place is None else "", MISSING if sent and presses not in PRESSES else ""]
    which = [FormAnswer(str(p.id), p.name, p == place) for p in places.by_form[RESET]]
    counts = {number: number for number in PRESSES} | {PRESSES[-1]: _("5 OR MORE")}
    how_often = [FormAnswer(number, words, number == presses) for number, words in counts.items()]
    questions = [
        FormQuestion("place", _("Which one?"), which, fault=_fault_sentence(faults[0])),
        FormQuestion("presses", _("How often was it pressed?"), how_often, fault=_fault_sentence(faults[1])),
    ]
    entries = reset_entries(place.id, int(presses)) if sent and place and not any(faults) else ()
    return CardForm(RESET, None, questions, entries=entries, sent=sent)


def _trouble_form(places: CardPlaces, sent: Mapping[str, str], language: str) -> CardForm:
    offered = list(_offered_troubles(places))
    chosen_trouble = next((o for o in offered if o.value == sent.get("trouble")), None)
    answers = [FormAnswer(o.value, o.words_in(language), o is chosen_trouble, o.trouble.act) for o in offered]
    words = sent.get("words", "").strip()[:MAX_WORDS_LENGTH]
    is_bare = chosen_trouble is not None and chosen_trouble.trouble.is_vague and not words
    faults = {"trouble": MISSING if sent and chosen_trouble is None else "", "words": MISSING if is_bare else ""}
    questions = [
        FormQuestion("trouble", _("What is wrong?"), answers, fault=_fault_sentence(faults["trouble"])),
        FormQuestion("words", "", fault=_fault_sentence(faults["words"])),
    ]
    entries = (chosen_trouble.entry,) if chosen_trouble and not is_bare else ()
    return CardForm(
        TROUBLE, None, questions, entries=entries, note=_trouble_note(chosen_trouble, sent, words), sent=sent
    )


@dataclass(frozen=True, slots=True)
class OfferedTrouble:
    """Something that can be told as wrong of this boiler, at one of its places or of the whole."""

    trouble: ToldTrouble
    place: Position | None
    is_one_of_several: bool = False

    @property
    def value(self) -> str:
        """What the form sends for it."""
        return f"{self.trouble.code}:{self.place.id}" if self.place else self.trouble.code

    @property
    def entry(self) -> LoggedEntry:
        """What is observed by it."""
        return LoggedEntry("observe", self.trouble.observes, self.place.id if self.place else None)

    def words_in(self, language: str) -> str:
        """Return its words; with the place's name where several may be meant."""
        words = self.trouble.in_language(language)
        return f"{words}: {self.place.name}" if self.place and self.is_one_of_several else words


def _offered_troubles(places: CardPlaces) -> Iterator[OfferedTrouble]:
    """Yield what the release in force knows and this boiler has a place for."""
    for trouble in told_troubles():
        observation = places.release.observations.get(trouble.observes)
        if observation is None:
            continue
        if not observation.roles:
            yield OfferedTrouble(trouble, None)
            continue
        fitting_places = [place for role in sorted(observation.roles) for place in places.by_role.get(role, ())]
        for place in fitting_places:
            yield OfferedTrouble(trouble, place, is_one_of_several=len(fitting_places) > 1)


def _trouble_note(chosen_trouble: OfferedTrouble | None, sent: Mapping[str, str], words: str) -> str:
    """Return what the office reads beside the observation: in English, and the caretaker's words as they were typed."""
    lines = [f"Told by the boiler-room card: {chosen_trouble.words_in('en')}." if chosen_trouble else ""]
    lines.append(f"Since: {SINCE[sent['since']]}." if sent.get("since") in SINCE else "")
    number = sent.get("call_back", "").strip()[:MAX_NUMBER_LENGTH]
    lines.append(f"Call back: {number}." if number else "")
    lines.append(f"In their words: {words}" if words else "")
    return "\n".join(line for line in lines if line)


def read_submission(
    form: CardForm, token: FormToken, operators: Sequence[User], picture: IncomingPhotograph | None
) -> CardSubmission:
    """Return a whole form as it was sent: an operator who is offered here, with his PIN, or a name."""
    operator = next((user.id for user in operators if str(user.id) == form.sent.get("operator")), None)
    values: dict[str, Any] = {"operator": operator, "pin": form.sent.get("pin", "").strip()[:MAX_NUMBER_LENGTH]}
    name = form.sent.get("name", "").strip()[:MAX_NAME_LENGTH]
    return CardSubmission(token.submission, form.entries, name=name, note=form.note, picture=picture, **values)
