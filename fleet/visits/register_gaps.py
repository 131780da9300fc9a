"""What a boiler's register leaves out, and the answers that visits give to it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID, uuid5

from django.db.models import Min

from fleet.errors import Fault
from fleet.portfolio.models import Boiler, Device, Fitting, Position, Setting
from fleet.portfolio.queries import boiler_settings_at, positions_of
from fleet.records.events import ChangeEvent
from fleet.rules.catalogue import Catalogue
from fleet.rules.needed_roles import PlaceOnRecord, RegisterGap, find_register_gaps, sum_burner_inputs
from fleet.rules.values import as_number
from fleet.sheets.columns import NOT_NEEDED_BECAUSE
from fleet.visits.incoming import IncomingVisit, RegisterAnswer
from fleet.visits.places import present_stay, stays_at_places, values_at_places

THERE, NONE, NOT_SEEN = "there", "none", "not_seen"
ANSWERS = (THERE, NONE, NOT_SEEN)


def gaps_of_boiler(boiler: Boiler, catalogue: Catalogue, at: datetime) -> tuple[RegisterGap, ...]:
    """Return what a boiler's register leaves out at `at`; a place whose first day is yet to come is not on record."""
    own_boiler = Boiler.objects.filter(id=boiler.id)
    places = positions_of(own_boiler).annotate(first_day=Min("fittings__since")).exclude(first_day__gt=at)
    roles: dict[UUID, str] = dict(places.values_list("id", "role_id"))
    stays = stays_at_places(roles, at)
    devices = {place: stay.device for place in roles if (stay := present_stay(stays.get(place, ())))}
    burners = [place for place in devices if roles[place] == "burner"]
    set_inputs = {
        place: setting.value
        for place, settings in values_at_places(burners, at).items()
        for setting in settings
        if setting.key == "input_btu_h"
    }
    plates = (as_number(set_inputs.get(b, devices[b].attributes.get("input_btu_h"))) for b in burners)
    return find_register_gaps(
        catalogue,
        boiler_settings_at([boiler.id], at).get(boiler.id, {}),
        [PlaceOnRecord(role, devices[place].kind_id if place in devices else "") for place, role in roles.items()],
        sum_burner_inputs(plates),
    )


@dataclass(frozen=True, slots=True)
class AskedRole:
    """A role that an answer may name: the kinds that may be there, and whether it may be none here."""

    kinds: frozenset[str]
    none_allowed: bool


def answer_faults(
    visit: IncomingVisit, gaps: Sequence[RegisterGap], catalogue: Catalogue, is_qualified: bool
) -> Iterator[Fault]:
    """Yield what the register answers of a visit are refused for."""
    if visit.register_answers and not is_qualified:
        message = "Only a visit of a qualified technician answers what the register leaves out."
        yield Fault("not_qualified", message, ("register_answers",))
        return
    asked = asked_roles(gaps, catalogue)
    seen: set[tuple[str, str]] = set()
    for number, answer in enumerate(visit.register_answers):
        place = ("register_answers", number)
        if answer.role not in asked or (answer.role, answer.kind) in seen:
            message = f"The register of this boiler does not leave out {answer.role!r}."
            yield Fault("not_asked", message, (*place, "role"))
            continue
        seen.add((answer.role, answer.kind))
        kinds = asked[answer.role].kinds
        if answer.answer == THERE and not answer.kind and len(kinds) > 1:
            yield Fault("required", f"Say which it is: {', '.join(sorted(kinds))}.", (*place, "kind"))
        if answer.kind and answer.answer != THERE:
            yield Fault("device_does_not_fit", "Only what is there has a kind.", (*place, "kind"))
        elif answer.kind and answer.kind not in kinds:
            yield Fault("device_does_not_fit", f"{answer.kind!r} is not what is left out.", (*place, "kind"))
        if answer.answer == NONE and asked[answer.role].none_allowed and not answer.reason:
            yield Fault("required", "Say why there is none here, and who decided.", (*place, "reason"))


def asked_roles(gaps: Sequence[RegisterGap], catalogue: Catalogue) -> dict[str, AskedRole]:
    """Return by role what may be answered; two gaps may ask for one role, each with kinds of its own."""
    needs = {need.code: need for need in catalogue.needed_roles}
    asked: dict[str, AskedRole] = {}
    for gap in gaps:
        for role in sorted(gap.roles):
            kinds = catalogue.roles[role].kinds
            own = (needs[gap.code].kinds & kinds) or kinds
            before = asked.get(role, AskedRole(frozenset(), none_allowed=True))
            asked[role] = AskedRole(before.kinds | own, before.none_allowed and gap.none_allowed)
    return asked


def write_answers(
    visit: IncomingVisit, boiler: Boiler, gaps: Sequence[RegisterGap], catalogue: Catalogue, posted_at: datetime
) -> list[ChangeEvent]:
    """Put on record what a visit says of the places that the register leaves out. Return the events.

    *There* adds the place with its device, which has proven nothing. *None* adds an empty place: not fitted, or where
    the catalogue allows it none here, with its reason. *Not seen* adds nothing.
    """
    asked = asked_roles(gaps, catalogue)
    return [
        _write_answer(visit, boiler, answer, asked=asked[answer.role], catalogue=catalogue, posted_at=posted_at)
        for answer in visit.register_answers
        if answer.answer != NOT_SEEN
    ]


def _write_answer(
    visit: IncomingVisit,
    boiler: Boiler,
    answer: RegisterAnswer,
    *,
    asked: AskedRole,
    catalogue: Catalogue,
    posted_at: datetime,
) -> ChangeEvent:
    role = catalogue.roles[answer.role]
    ref = _free_ref(boiler, answer.role.replace("_", "-"))
    of_portfolio = {"portfolio_id": boiler.portfolio_id}
    position = Position.objects.create(
        id=uuid5(visit.id, f"place {answer.role} {answer.kind}"),
        boiler=boiler,
        ref=ref,
        name=role.name.lower(),
        role_id=answer.role,
        **of_portfolio,
    )
    dated = {"position": position, "since": visit.performed_at, "posted_at": posted_at, **of_portfolio}
    device = None
    if answer.answer == THERE:
        kind = answer.kind or next(iter(asked.kinds))
        device = Device.objects.create(id=uuid5(position.id, "device found"), kind_id=kind, **of_portfolio)
    elif asked.none_allowed:
        Setting.objects.create(key="needed", value=False, **dated)
        Setting.objects.create(key=NOT_NEEDED_BECAUSE, value=answer.reason, **dated)
    Fitting.objects.create(device=device, **dated)
    found = "is there" if device else f"is none here: {answer.reason}" if answer.reason else "is not fitted"
    return ChangeEvent(
        "register.answered",
        position.id,
        boiler=boiler.id,
        before="",
        after=answer.answer,
        sentence=f"{role.name}, not on record before, {found}.",
        rule="",
        at=visit.performed_at,
    )


def _free_ref(boiler: Boiler, wish: str) -> str:
    """Return a ref that no place of the boiler has yet."""
    taken = set(Position.objects.filter(boiler=boiler, ref__startswith=wish).values_list("ref", flat=True))
    return next(ref for ref in (wish, *(f"{wish}-{n}" for n in range(2, len(taken) + 3))) if ref not in taken)
