"""Serializers of a posted visit, and its conversion to `IncomingVisit`."""

from collections.abc import Callable, Iterator
from datetime import datetime
from typing import Any, ClassVar
from uuid import uuid4

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from api.http.schema_types import SchemaObject
from api.http.strict import (
    DayField,
    FlagField,
    IdField,
    InstantField,
    StrictSerializer,
    TextField,
    ValidatedData,
    ValuesField,
    WholeNumberField,
    make_fault,
)
from fleet.rules.vocabulary import CLAIMED_OUTCOMES, PAPER_BODIES, SERIAL, ArrivalState, EntryAct, LeftAs, values_of
from fleet.visits.incoming import (
    IncomingEntry,
    IncomingPaper,
    IncomingPhotograph,
    IncomingVisit,
    PaperFile,
    Person,
    RegisterAnswer,
)
from fleet.visits.paper_check import (
    BODY_MESSAGE,
    FILE_NAME_MESSAGE,
    FILE_TYPES,
    HASH_MESSAGE,
    MAX_BODY_NAME_LENGTH,
    MAX_FILE_BYTES,
    MAX_FILE_NAME_LENGTH,
    MAX_NUMBER_LENGTH,
    MAX_SERIAL_LENGTH,
    SIZE_MESSAGE,
    TYPE_MESSAGE,
)
from fleet.visits.photograph_check import MAX_PHOTOGRAPH_BYTES, MAX_PHOTOGRAPHS, PHOTOGRAPH_TYPES
from fleet.visits.register_gaps import ANSWERS

KINDS = (
    "annual_service",
    "season_start",
    "season_shutdown",
    "follow_up",
    "no_heat",
    "routine_check",
    "restart",
    "inspection",
)
ARRIVALS = values_of(ArrivalState)
LEFT = values_of(LeftAs)
OUTCOMES = values_of(CLAIMED_OUTCOMES)
WHY = ("no_call_for_heat", "out_of_time", "no_access", "no_part", "unsafe", "not_fitted")
ACTS = values_of(EntryAct)
# Besides the act itself, `ref` and `performed_at`, which every entry may have.
FIELDS_BY_ACT = {
    "test": {"position", "phase", "outcome", "why", "readings", "serial"},
    "action": {"position"},
    "observe": {"position", "phase", "readings", "serial"},
}
COMMON_FIELDS = {*ACTS, "ref", "performed_at"}


class ToldSerializer(StrictSerializer):
    """A person who was told, how and when."""

    name = TextField(max_length=200)
    how = TextField(max_length=64, required=False)
    at = InstantField(required=False)


class LeavingChecksSerializer(StrictSerializer):
    """The leaving checks."""

    jumpers_off = FlagField(required=False)
    set_points_read = FlagField(required=False)
    feed_open = FlagField(required=False)
    drains_shut = FlagField(required=False)
    glass_cocks_open = FlagField(required=False)
    resets_in = FlagField(required=False)
    water_at_line = FlagField(required=False)
    tags_accounted = FlagField(required=False)
    told = ToldSerializer(many=True, required=False, max_length=20)  # type: ignore[call-arg]


class PersonSerializer(StrictSerializer):
    """A person at the visit: a user or a name."""

    between: ClassVar[SchemaObject] = {"oneOf": [{"required": ["user"]}, {"required": ["name"]}]}

    user = IdField(required=False)
    name = TextField(max_length=200, required=False)

    def find_cross_field_faults(self, data: ValidatedData) -> ValidatedData:
        """Return a fault unless exactly one of user and name is given."""
        has_exactly_one = ("user" in data) != ("name" in data)
        return (
            {} if has_exactly_one else {"non_field_errors": [make_fault("user_or_name", "Give either user or name.")]}
        )


class WithValuesSerializer(serializers.Serializer[object]):
    """Known fields; every other field is a value."""

    def to_internal_value(self, data: Any) -> Any:
        """Collect the values under `values`. Faults of fields and values are reported together."""
        unknown_values = {n: v for n, v in data.items() if n not in self.fields} if isinstance(data, dict) else {}
        read, faults = _try_validate(super().to_internal_value, data)
        values, more = _try_validate(ValuesField().run_validation, unknown_values)
        if faults or more:
            raise serializers.ValidationError({**faults, **more})
        return {**read, "values": values}


def _try_validate(validate: Callable[[Any], Any], data: Any) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return the validated data and the faults by field; one of the two is empty."""
    try:
        return validate(data), {}
    except serializers.ValidationError as error:
        detail = error.detail
        return {}, detail if isinstance(detail, dict) else {"non_field_errors": detail}


class DeviceSerializer(WithValuesSerializer):
    """A device and its kind. Every other field is stamped or set on it (`set_psi`, `capacity_lb_h`, …)."""

    id = IdField(required=False)
    kind = TextField(max_length=40)


class RemoveSerializer(StrictSerializer):
    """Removes the device from a position."""

    position = IdField()
    reason = TextField(max_length=200, required=False)


class ReplaceSerializer(RemoveSerializer):
    """Replaces the device at a position. `fit` has the same fields, for an empty position."""

    def get_fields(self) -> dict[str, Any]:
        """Add `with`, which is a keyword of Python."""
        return {**super().get_fields(), "with": DeviceSerializer()}


class SetSerializer(WithValuesSerializer):
    """Changes settings of a position. Every field besides `position` is a value (`set_psi`, `cut_out_psi`, …)."""

    position = IdField()


def _schema_of_act(act: str) -> SchemaObject:
    """Return as JSON Schema what an entry with this act needs and what it may not have."""
    needs = {"test": ["position", "outcome"], "action": ["position"]}
    known_fields = set(ACTS) | {"position", "phase", "outcome", "why", "readings", "serial"}
    excluded = sorted(known_fields - FIELDS_BY_ACT.get(act, set()) - {act})
    return {"required": [act, *needs.get(act, ())], "not": {"anyOf": [{"required": [name]} for name in excluded]}}


# An entry has `why` if and only if its outcome is not_done.
WHY_SCHEMA = {
    "if": {"properties": {"outcome": {"const": "not_done"}}, "required": ["outcome"]},
    "then": {"required": ["why"]},
    "else": {"not": {"required": ["why"]}},
}


class EntrySerializer(StrictSerializer):
    """One entry of a visit, with exactly one of test, action, observe, replace, fit, remove, set."""

    between: ClassVar[SchemaObject] = {"oneOf": [_schema_of_act(act) for act in ACTS], **WHY_SCHEMA}

    test = TextField(max_length=40, required=False)
    action = TextField(max_length=40, required=False)
    observe = TextField(max_length=40, required=False)
    replace = ReplaceSerializer(required=False)
    fit = ReplaceSerializer(required=False)
    remove = RemoveSerializer(required=False)
    set = SetSerializer(required=False)
    position = IdField(required=False)
    phase = serializers.ChoiceField(choices=("as_found", "as_left"), required=False)
    outcome = serializers.ChoiceField(choices=OUTCOMES, required=False)
    why = serializers.ChoiceField(choices=WHY, required=False)
    readings = ValuesField(required=False)
    serial = TextField(
        max_length=MAX_SERIAL_LENGTH,
        required=False,
        help_text="Of the device, as the visit's paper gives it. Without it a paper ends no hold.",
    )
    ref = TextField(max_length=64, required=False)
    performed_at = InstantField(required=False)

    def find_cross_field_faults(self, data: ValidatedData) -> ValidatedData:
        """Return the faults that depend on the entry's act."""
        acts = [a for a in ACTS if a in data]
        if len(acts) != 1:
            return {"non_field_errors": [make_fault("one_act", f"Give exactly one of {', '.join(ACTS)}.")]}
        act, takes = acts[0], FIELDS_BY_ACT.get(acts[0], set())
        strange = data.keys() & self.fields.keys() - takes - COMMON_FIELDS
        faults = {n: [make_fault("not_of_this_act", f"An entry with {act} cannot have {n}.")] for n in sorted(strange)}
        # An observation of the whole boiler has no position. The catalogue decides which ones may have none.
        needs = {
            "position": act in ("test", "action"),
            "outcome": act == "test",
            "why": data.get("outcome") == "not_done",
        }
        missing = [n for n, is_needed in needs.items() if is_needed and n in takes and n not in data]
        faults.update((n, [make_fault("required", f"An entry with {act} needs {n} here.")]) for n in missing)
        if "why" in data and not needs["why"]:
            faults["why"] = [make_fault("why_of_nothing", "Only an entry that was not done can have a why.")]
        return faults


class RegisterAnswerSerializer(StrictSerializer):
    """The answer to one role that the boiler's register leaves out.

    `there` puts the place on record with a device that has proven nothing; `none` puts an empty place on record, with
    its reason where the boiler may do without; `not_seen` changes nothing.
    """

    role = TextField(max_length=40)
    answer = serializers.ChoiceField(choices=ANSWERS)
    kind = TextField(max_length=40, required=False)
    reason = TextField(max_length=200, required=False)


LENGTH_CODES = ("blank", "min_length", "max_length")
NAME_MESSAGES: dict[str, Any] = dict.fromkeys(LENGTH_CODES, FILE_NAME_MESSAGE)


@extend_schema_field({"type": "string", "pattern": "^[0-9a-f]{64}$"})
class HashField(TextField):
    """The SHA-256 of a file. Which characters it consists of is checked with the visit's content."""


class PaperFileSerializer(StrictSerializer):
    """What tells the file of a paper from others. The file is not kept here: whoever seconds needs the paper itself."""

    name = TextField(max_length=MAX_FILE_NAME_LENGTH, error_messages=NAME_MESSAGES)
    sha256 = HashField(max_length=64, min_length=64, error_messages=dict.fromkeys(LENGTH_CODES, HASH_MESSAGE))
    size = WholeNumberField(
        min_value=1,
        max_value=MAX_FILE_BYTES,
        help_text="In bytes.",
        error_messages=dict.fromkeys(("min_value", "max_value"), SIZE_MESSAGE),
    )
    type = serializers.ChoiceField(choices=FILE_TYPES, error_messages={"invalid_choice": TYPE_MESSAGE})


class PhotographSerializer(StrictSerializer):
    """A picture taken at the visit. Its bytes are sent to `photos/{sha256}/` at any time before or after.

    `entry` is the number of the entry that it shows, counted from 0; left out, it is of the visit as a whole.
    """

    sha256 = HashField(max_length=64, min_length=64, error_messages=dict.fromkeys(LENGTH_CODES, HASH_MESSAGE))
    size = WholeNumberField(min_value=1, max_value=MAX_PHOTOGRAPH_BYTES, help_text="In bytes.")
    type = serializers.ChoiceField(choices=PHOTOGRAPH_TYPES)
    entry = WholeNumberField(min_value=0, max_value=199, required=False)


class PaperOfOthersSerializer(StrictSerializer):
    """The paper of another body on which the entries rest, posted by whoever holds it.

    Passes count where the body does the test, whoever posts them. To end a hold or a tag, a paper needs the serial of
    the device on the entry, as on record, and a second qualified name.
    """

    body = serializers.ChoiceField(choices=PAPER_BODIES, error_messages={"invalid_choice": BODY_MESSAGE})
    name = TextField(
        max_length=MAX_BODY_NAME_LENGTH,
        help_text="Who wrote it: the shop, the tester, the office.",
        error_messages={"blank": "Name who wrote the paper."},
    )
    number = TextField(max_length=MAX_NUMBER_LENGTH, error_messages={"blank": "Give the paper's number."})
    dated_on = DayField(help_text="The building's day. No entry may be later.")
    file = PaperFileSerializer()


class VisitSerializer(StrictSerializer):
    """A visit to one boiler. The sender chooses the id, so a repeat is recognized."""

    between: ClassVar[SchemaObject] = {
        "allOf": [{"properties": {"people": {"minItems": 1, "maxItems": 20}, "entries": {"maxItems": 200}}}],
        "dependentRequired": {"corrects": ["reason"]},
        "if": {"properties": {"void": {"const": True}}, "required": ["void"]},
        "then": {"required": ["corrects"], "properties": {"entries": {"maxItems": 0}}},
        "else": {"properties": {"entries": {"minItems": 1}}},
    }

    id = IdField(required=False)
    boiler = IdField()
    kind = serializers.ChoiceField(choices=KINDS)
    performed_at = InstantField()
    people = PersonSerializer(  # type: ignore[call-arg]
        many=True,
        allow_empty=False,
        max_length=20,
        help_text="Who was there. Whoever it names beside its poster counts in full only once he seconds it.",
    )
    call_for_heat = FlagField(required=False, allow_null=True)
    state_on_arrival = serializers.ChoiceField(choices=ARRIVALS, required=False)
    left_as = serializers.ChoiceField(choices=LEFT, required=False)
    entries = EntrySerializer(many=True, max_length=200)  # type: ignore[call-arg]
    leaving_checks = LeavingChecksSerializer(required=False)
    register_answers = RegisterAnswerSerializer(many=True, required=False, max_length=40)  # type: ignore[call-arg]
    note = TextField(max_length=4000, required=False, allow_blank=True)
    corrects = IdField(required=False)
    reason = TextField(max_length=400, required=False)
    void = FlagField(required=False)
    paper = PaperOfOthersSerializer(required=False)
    photographs = PhotographSerializer(many=True, required=False, max_length=MAX_PHOTOGRAPHS)  # type: ignore[call-arg]

    def find_cross_field_faults(self, data: ValidatedData) -> ValidatedData:
        """Return the faults between fields.

        A correction has a reason. Only a correction may be void. A void visit has no entries, any other has some.
        """
        faults, void = {}, data.get("void") is True
        if "corrects" in data and "reason" not in data:
            faults["reason"] = [make_fault("required", "A correction needs a reason.")]
        if void and "corrects" not in data:
            faults["void"] = [make_fault("not_a_correction", "Only a correction can be void.")]
        if data.get("entries") == [] and not void:
            faults["entries"] = [make_fault("empty", "A visit needs at least one entry.")]
        if void and isinstance(data.get("entries"), list) and data["entries"]:
            # Otherwise one wrong `void` would silently drop all entries of a correction.
            faults["entries"] = [make_fault("void_has_entries", "A void visit cannot have entries.")]
        return faults


def incoming(data: ValidatedData) -> IncomingVisit:
    """Convert validated data to the form that the core takes."""
    at = data["performed_at"]
    optional = ("call_for_heat", "state_on_arrival", "left_as", "note", "corrects", "reason", "void")
    checks = {k: v for k, v in data.get("leaving_checks", {}).items() if k != "told"}
    told_people = [_to_plain_person(t) for t in data.get("leaving_checks", {}).get("told", [])]
    return IncomingVisit(
        id=data.get("id") or uuid4(),
        boiler=data["boiler"],
        kind=data["kind"],
        performed_at=at,
        entries=tuple(_incoming_entries(data["entries"], at)),
        people=tuple(Person(p.get("user"), p.get("name", "")) for p in data["people"]),
        register_answers=tuple(RegisterAnswer(**answer) for answer in data.get("register_answers", ())),
        paper=_incoming_paper(data["paper"]) if "paper" in data else None,
        photographs=tuple(IncomingPhotograph(**p) for p in data.get("photographs", ())),
        leaving_checks={**checks, **({"told": told_people} if told_people else {})},
        **{k: data[k] for k in optional if k in data},
    )


def _incoming_paper(data: ValidatedData) -> IncomingPaper:
    return IncomingPaper(**{**data, "file": PaperFile(**data["file"])})


def _to_plain_person(person: ValidatedData) -> dict[str, str]:
    return {k: v.isoformat() if k == "at" else v for k, v in person.items()}


def _incoming_entries(entry_list: list[ValidatedData], at: datetime) -> Iterator[IncomingEntry]:
    """Yield the entries in the order done. One without a time has the time of the entry before it."""
    for data in entry_list:
        at = data.get("performed_at", at)
        yield _incoming_entry(data, at)


def _incoming_entry(data: ValidatedData, at: datetime) -> IncomingEntry:
    act = next(a for a in ACTS if a in data)
    inner = data[act] if isinstance(data[act], dict) else {}
    device = inner.get("with", {})
    values = device.get("values", inner.get("values", {}))
    return IncomingEntry(
        act=act,
        code=data[act] if isinstance(data[act], str) else "",
        position=inner.get("position", data.get("position")),
        at=at,
        phase=data.get("phase", ""),
        outcome=data.get("outcome", ""),
        why=data.get("why", ""),
        reason=inner.get("reason", ""),
        readings=data.get("readings", {}),
        kind=device.get("kind", ""),
        values={**values, SERIAL: data["serial"]} if "serial" in data else values,
        device=device.get("id"),
        ref=data.get("ref", ""),
    )
