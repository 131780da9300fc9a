"""What a boiler's register leaves out, and the answers that visits give to it."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID, uuid5

from django.db.models import Min, Q

from fleet.errors import Fault, FaultPath, Refused
from fleet.portfolio.models import Boiler, Device, Fitting, Position, Setting
from fleet.portfolio.queries import boiler_settings_at, positions_of
from fleet.records.events import ChangeEvent
from fleet.rules.catalogue import Catalogue
from fleet.rules.needed_roles import (
    VALUE_NAMES,
    PlaceOnRecord,
    RegisterGap,
    find_path_roles,
    find_register_gaps,
    sum_burner_inputs,
)
from fleet.rules.values import as_number
from fleet.sheets.columns import NOT_NEEDED_BECAUSE
from fleet.visits.dropped_answers import EarlierAnswers, place_id
from fleet.visits.incoming import IncomingVisit, RegisterAnswer
from fleet.visits.places import PlaceValue, Stay, present_stay, stays_at_places, values_at_places

THERE, NONE, NOT_SEEN = "there", "none", "not_seen"
ANSWERS = (THERE, NONE, NOT_SEEN)
NO_EARLIER_ANSWERS = EarlierAnswers()


def gaps_of_boiler(boiler: Boiler, catalogue: Catalogue, at: datetime) -> tuple[RegisterGap, ...]:
    """Return what a boiler's register leaves out at `at`; a place whose first day is yet to come is not on record."""
    own_boiler = Boiler.objects.filter(id=boiler.id)
    # A place that its sheet left empty has no fitting and so no first day: it is on record, as not fitted.
    begun = Q(first_day=None) | Q(first_day__lte=at)
    places = positions_of(own_boiler).annotate(first_day=Min("fittings__since")).filter(begun)
    roles: dict[UUID, str] = dict(places.values_list("id", "role_id"))
    stays = stays_at_places(roles, at)
    values = values_at_places(roles, at)
    contents = {
        place: _content_of(role, present_stay(stays.get(place, ())), values.get(place, ()))
        for place, role in roles.items()
    }
    return gaps_of_places(catalogue, boiler_settings_at([boiler.id], at).get(boiler.id, {}), contents)


@dataclass(frozen=True, slots=True)
class PlaceContent:
    """A place on record: its role, the kind there ('' none) with the values of its device, and what it hangs on."""

    role: str
    kind: str = ""
    values: Mapping[str, Any] = field(default_factory=dict)
    paths: Sequence[UUID] = ()


def _content_of(role: str, stay: Stay | None, settings: Sequence[PlaceValue]) -> PlaceContent:
    paths = [UUID(path) for setting in settings if setting.key == "paths" for path in setting.value]
    if stay is None:
        return PlaceContent(role, paths=paths)
    dated_values = ((setting.key, setting.value, setting.since) for setting in settings)
    values = values_of_stay(stay.device.attributes, stay.since, dated_values)
    return PlaceContent(role, stay.device.kind_id, values, paths)


def values_of_stay(
    attributes: Mapping[str, Any], fitted_at: datetime, settings: Iterable[tuple[str, Any, datetime]]
) -> dict[str, Any]:
    """Return the values of a device that is there: as set since it came, or else as stamped on it."""
    return {**attributes, **{key: value for key, value, since in settings if since >= fitted_at}}


def gaps_of_places(
    catalogue: Catalogue, boiler_values: Mapping[str, Any], contents: Mapping[UUID, PlaceContent]
) -> tuple[RegisterGap, ...]:
    """Return what the places on record of a boiler leave out."""
    roles = {place: content.role for place, content in contents.items()}
    paths = {place: content.paths for place, content in contents.items()}
    plates = (as_number(content.values.get("input_btu_h")) for content in contents.values() if content.role == "burner")
    on_record = [
        PlaceOnRecord(
            content.role,
            content.kind,
            paths=find_path_roles(place, paths, roles),
            values=frozenset(key for key in VALUE_NAMES if as_number(content.values.get(key)) is not None),
        )
        for place, content in contents.items()
    ]
    return find_register_gaps(catalogue, boiler_values, on_record, sum_burner_inputs(plates))


@dataclass(frozen=True, slots=True)
class AskedRole:
    """A role that an answer may name: the kinds that may be there, if it may be none here, how many gaps ask for it."""

    kinds: frozenset[str]
    none_allowed: bool
    gap_count: int = 1


def answer_faults(
    visit: IncomingVisit,
    gaps: Sequence[RegisterGap],
    catalogue: Catalogue,
    *,
    is_qualified: bool,
    earlier_answers: EarlierAnswers = NO_EARLIER_ANSWERS,
) -> Iterator[Fault]:
    """Yield what the register answers of a visit are refused for.

    `earlier_answers` are those of the visits that this one corrects: what stands of them is on record already.
    """
    if visit.register_answers and not is_qualified:
        message = "Only a visit of a qualified technician answers what the register leaves out."
        yield Fault("not_qualified", message, ("register_answers",))
        return
    roles_asked = asked_roles(gaps, catalogue)
    answered: dict[str, set[str]] = {}
    for number, answer in enumerate(visit.register_answers):
        place = ("register_answers", number)
        if answer in earlier_answers.standing_answers:
            continue
        if answer.role not in roles_asked:
            yield Fault("not_asked", _why_not_asked(answer, earlier_answers), (*place, "role"))
            continue
        yield from _content_faults(answer, roles_asked[answer.role], place)
        kinds = answered.setdefault(answer.role, set())
        kind = _kind_found(answer, roles_asked[answer.role])
        if kind in kinds or len(kinds) == roles_asked[answer.role].gap_count:
            message = f"Another line answers {answer.role!r} already; the register leaves no second one out."
            yield Fault("double", message, (*place, "role"))
        kinds.add(kind)


def _why_not_asked(answer: RegisterAnswer, earlier_answers: EarlierAnswers) -> str:
    if any(answer.role == other.role for other in earlier_answers.all_answers):
        return (
            f"A visit that this one corrects answered {answer.role!r} otherwise, or took its answer back. Leave it out "
            "here: its place then counts as not fitted, until what is there is put on record on the register's page."
        )
    return f"The register of this boiler does not leave out {answer.role!r}."


def _content_faults(answer: RegisterAnswer, asked_role: AskedRole, place: FaultPath) -> Iterator[Fault]:
    if answer.answer == THERE and not answer.kind and len(asked_role.kinds) > 1:
        yield Fault("required", f"Say which it is: {', '.join(sorted(asked_role.kinds))}.", (*place, "kind"))
    if answer.kind and answer.answer != THERE:
        yield Fault("device_does_not_fit", "Only what is there has a kind.", (*place, "kind"))
    elif answer.kind and answer.kind not in asked_role.kinds:
        yield Fault("device_does_not_fit", f"{answer.kind!r} is not what is left out.", (*place, "kind"))
    if answer.answer == NONE and asked_role.none_allowed and not answer.reason:
        yield Fault("required", "Say why there is none here, and who decided.", (*place, "reason"))


def _kind_found(answer: RegisterAnswer, asked_role: AskedRole) -> str:
    """Return the kind of what is there, which goes without saying where there is only one; '' for nothing."""
    if answer.answer != THERE:
        return ""
    return answer.kind or next(iter(asked_role.kinds))


def asked_roles(gaps: Sequence[RegisterGap], catalogue: Catalogue) -> dict[str, AskedRole]:
    """Return by role what may be answered; two gaps may ask for one role, each with kinds of its own."""
    needs = {need.code: need for need in catalogue.needed_roles}
    roles_asked: dict[str, AskedRole] = {}
    for gap in gaps:
        for role in sorted(gap.roles):
            kinds = catalogue.roles[role].kinds
            own = (needs[gap.code].kinds & kinds) or kinds
            before = roles_asked.get(role, AskedRole(frozenset(), none_allowed=True, gap_count=0))
            roles_asked[role] = AskedRole(
                before.kinds | own, before.none_allowed and gap.none_allowed, gap_count=before.gap_count + 1
            )
    return roles_asked


def write_answers(
    visit: IncomingVisit,
    boiler: Boiler,
    gaps: Sequence[RegisterGap],
    *,
    earlier_answers: EarlierAnswers,
    catalogue: Catalogue,
    posted_at: datetime,
) -> list[ChangeEvent]:
    """Put on record what a visit says of the places that the register leaves out. Return the events.

    *There* adds the place with its device, which has proven nothing. *None* adds an empty place: not fitted, or where
    the catalogue allows it none here, with its reason. *Not seen* adds nothing. Raises Refused for what is not asked.
    """
    roles_asked = asked_roles(gaps, catalogue)
    new_answers = [
        a for a in visit.register_answers if a.answer != NOT_SEEN and a not in earlier_answers.standing_answers
    ]
    for answer in new_answers:
        if answer.role not in roles_asked:  # another visit of the same post answered it
            raise Refused("not_asked", _why_not_asked(answer, earlier_answers), ("register_answers",), status=422)
    return [
        _write_answer(
            visit, boiler, answer, asked_role=roles_asked[answer.role], catalogue=catalogue, posted_at=posted_at
        )
        for answer in new_answers
    ]


def _write_answer(
    visit: IncomingVisit,
    boiler: Boiler,
    answer: RegisterAnswer,
    *,
    asked_role: AskedRole,
    catalogue: Catalogue,
    posted_at: datetime,
) -> ChangeEvent:
    role = catalogue.roles[answer.role]
    ref = _free_ref(boiler, answer.role.replace("_", "-"))
    of_portfolio = {"portfolio_id": boiler.portfolio_id}
    position = Position.objects.create(
        id=place_id(visit.id, answer),
        boiler=boiler,
        ref=ref,
        name=role.name.lower(),
        role_id=answer.role,
        **of_portfolio,
    )
    dated = {"position": position, "since": visit.performed_at, "posted_at": posted_at, **of_portfolio}
    device = None
    if answer.answer == THERE:
        kind = _kind_found(answer, asked_role)
        device = Device.objects.create(id=uuid5(position.id, "device found"), kind_id=kind, **of_portfolio)
    elif asked_role.none_allowed:
        Setting.objects.create(key="needed", value=False, **dated)
        Setting.objects.create(key=NOT_NEEDED_BECAUSE, value=answer.reason, **dated)
    Fitting.objects.create(device=device, **dated)
    nothing = f"is none here: {answer.reason}" if asked_role.none_allowed else "is not fitted"
    return ChangeEvent(
        "register.answered",
        position.id,
        boiler=boiler.id,
        before="",
        after=answer.answer,
        sentence=f"{role.name}, not on record before, {'is there' if device else nothing}.",
        rule="",
        at=visit.performed_at,
    )


def _free_ref(boiler: Boiler, wish: str) -> str:
    """Return a ref that no place of the boiler has yet."""
    taken = set(Position.objects.filter(boiler=boiler, ref__startswith=wish).values_list("ref", flat=True))
    return next(ref for ref in (wish, *(f"{wish}-{n}" for n in range(2, len(taken) + 3))) if ref not in taken)
