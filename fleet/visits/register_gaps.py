"""What the registers of boilers leave out now, and the answers that visits give to it."""

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID, uuid5

from django.db.models import Q

from fleet.errors import Fault
from fleet.portfolio.models import Boiler, Device, Fitting, Position, Setting
from fleet.records.events import ChangeEvent
from fleet.rules.catalogue import Catalogue
from fleet.rules.needed_roles import PlaceOnRecord, RegisterGap, find_register_gaps
from fleet.rules.values import as_number
from fleet.sheets.columns import NOT_NEEDED_BECAUSE
from fleet.visits.incoming import IncomingVisit, RegisterAnswer
from fleet.visits.places import present_stay, stays_at_places

THERE, NONE, NOT_SEEN = "there", "none", "not_seen"
ANSWERS = (THERE, NONE, NOT_SEEN)


def gaps_of_boilers(
    boilers: Collection[Boiler], catalogue: Catalogue, at: datetime
) -> dict[UUID, tuple[RegisterGap, ...]]:
    """Return by boiler what its register leaves out at `at`, in five queries whatever their number."""
    groups = {b.header_group_id for b in boilers if b.header_group_id}
    positions = list(Position.objects.filter(Q(boiler__in=boilers) | Q(header_group__in=groups)))
    stays = stays_at_places([p.id for p in positions], at)
    burners = [p.id for p in positions if p.role_id == "burner"]
    rows = Setting.objects.filter(Q(boiler__in=boilers) | Q(position__in=burners, key="input_btu_h"), since__lte=at)
    values: dict[UUID | None, dict[str, Any]] = defaultdict(dict)
    for row in rows.order_by("since", "posted_at"):
        values[row.boiler_id or row.position_id][row.key] = row.value
    gaps = {}
    for boiler in boilers:
        own = [p for p in positions if boiler.id == p.boiler_id or _shares(boiler, p)]
        devices = {p.id: stay.device for p in own if (stay := present_stay(stays.get(p.id, ())))}
        places = [PlaceOnRecord(p.role_id, devices[p.id].kind_id if p.id in devices else "") for p in own]
        inputs = [_input_btu_h(devices[p.id], values[p.id]) for p in own if p.role_id == "burner" and p.id in devices]
        known = [value for value in inputs if value]
        gaps[boiler.id] = find_register_gaps(catalogue, values[boiler.id], places, sum(known) if known else None)
    return gaps


def _shares(boiler: Boiler, position: Position) -> bool:
    return boiler.header_group_id is not None and boiler.header_group_id == position.header_group_id


def _input_btu_h(device: Device, values: Mapping[str, Any]) -> float | None:
    return as_number(values.get("input_btu_h", device.attributes.get("input_btu_h")))


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
