"""What the registers of a sheet's boilers will leave out once it is saved: told before anybody decides."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from typing import Any
from uuid import UUID

from fleet.calendar import day_of
from fleet.portfolio.models import Position
from fleet.rules.catalogue import Catalogue, NeedExposure
from fleet.rules.needed_roles import (
    GRACE_DAYS,
    VALUE_NAMES,
    PlaceOnRecord,
    RegisterGap,
    find_path_roles,
    find_register_gaps,
    in_words,
    sum_burner_inputs,
)
from fleet.rules.values import as_number
from fleet.sheets.import_plan import ImportPlan
from fleet.sheets.register_sheet import SheetRow
from fleet.sheets.register_snapshot import NO_FITTINGS, PlaceRecord, RegisterSnapshot

BoilerKey = tuple[str, ...]  # building ref and boiler ref
PlaceKey = tuple[str, ...]  # those, and the place's ref


def gap_lines(plan: ImportPlan, rows: Sequence[SheetRow], catalogue: Catalogue) -> Iterator[dict[str, Any]]:
    """Yield a line for each boiler of the sheet whose register will leave something out, in the sheet's order."""
    rows_by_boiler: dict[BoilerKey, list[SheetRow]] = defaultdict(list)
    for row in rows:
        rows_by_boiler[row.boiler_key].append(row)
    register = _RegisterByBoiler(plan.register)
    for key, own_rows in rows_by_boiler.items():
        gaps = _gaps_after(plan, own_rows, register, catalogue)
        if gaps:
            sentence = (
                f"Not on record even then: {in_words(gaps)}. The boiler is at best due, and after {GRACE_DAYS} days "
                f"impaired, until each is on record.{_exposure_in_words(gaps)}"
            )
            fields = {"row": own_rows[0].line, "building": key[0], "boiler": key[1], "position": "", "notes": []}
            yield {**fields, "does": [{"what": "not_on_record", "sentence": sentence}]}


class _RegisterByBoiler:
    """What the register has, grouped once by boiler: a sheet of many boilers looks up each of them."""

    def __init__(self, register: RegisterSnapshot) -> None:
        self.shared_places = _shared_places(register)
        self.positions: dict[BoilerKey, list[tuple[PlaceKey, PlaceRecord]]] = defaultdict(list)
        for place_key, place in register.positions.items():
            self.positions[place_key[:2]].append((place_key, place))
        keys = {boiler.id: key for key, boiler in register.boilers.items()}
        self.values: dict[BoilerKey, dict[str, Any]] = defaultdict(dict)
        for (owner, name), dated in register.settings.items():
            if owner in keys:
                self.values[keys[owner]][name] = dated.value
        self._refs_by_id = {str(place.id): place_key for place_key, place in register.positions.items()}
        self._paths_by_place = {
            owner: dated.value for (owner, key), dated in register.settings.items() if key == "paths"
        }

    def roles_and_paths(
        self, key: BoilerKey, rows: Sequence[SheetRow]
    ) -> tuple[dict[PlaceKey, str], dict[PlaceKey, list[PlaceKey]]]:
        """Return the role of each place of a boiler once these rows are saved, and what each hangs on."""
        roles: dict[PlaceKey, str] = dict(self.shared_places.get(key, ()))
        paths: dict[PlaceKey, list[PlaceKey]] = {}
        for place_key, place in self.positions.get(key, ()):
            roles[place_key] = place.role
            on_record = self._paths_by_place.get(place.id, ())
            paths[place_key] = [self._refs_by_id.get(path, (path,)) for path in on_record]
        for row in rows:
            roles[row.key] = row.role
            if row.hangs_on:
                paths[row.key] = [(*row.boiler_key, ref) for ref in row.hangs_on]
        return roles, paths


def _exposure_in_words(gaps: Sequence[RegisterGap]) -> str:
    """Return a sentence for each instant from which a gap makes the boiler *exposed*; each begins with a space."""
    instants = {NeedExposure.FROM_SURVEY: "from its first survey on", NeedExposure.AFTER_GRACE: "after those days"}
    by_instant = ((words, [g for g in gaps if g.exposes is exposure]) for exposure, words in instants.items())
    return "".join(f" For want of {in_words(own)} it is exposed {words}." for words, own in by_instant if own)


def _gaps_after(
    plan: ImportPlan, rows: Sequence[SheetRow], by_boiler: _RegisterByBoiler, catalogue: Catalogue
) -> tuple[RegisterGap, ...]:
    """Return what one boiler's register leaves out once these rows are saved."""
    register, key = plan.register, rows[0].boiler_key
    places = [PlaceOnRecord(role) for _, role in by_boiler.shared_places.get(key, ())]
    # A place whose first day is yet to come is not on record until then.
    today = day_of(plan.at, rows[0].zone)
    begun = [row for row in rows if row.position_ref and (row.fitted_on or row.since) <= max(today, row.since)]
    named: dict[PlaceKey, SheetRow] = {row.key: row for row in begun}
    inputs = [_number_of(register, row, "input_btu_h") for row in named.values() if row.role == "burner"]
    roles, paths = by_boiler.roles_and_paths(key, rows)
    for place_key, place in by_boiler.positions.get(key, ()):
        fittings = register.fittings.get(place.id, NO_FITTINGS)
        occupant, row = fittings.now, named.pop(place_key, None)
        if fittings.ever and not occupant and not row:
            continue
        path_roles = find_path_roles(place_key, paths, roles)
        if row:
            places.append(_place_of_row(register, row, row.kind or (occupant.kind if occupant else ""), path_roles))
            continue
        known = frozenset(k for k in VALUE_NAMES if _number_on_record(register, place.id, k) is not None)
        kind = occupant.kind if occupant else ""
        places.append(PlaceOnRecord(place.role, kind, paths=path_roles, values=known))
        if place.role == "burner" and occupant:
            inputs.append(_number_on_record(register, place.id, "input_btu_h"))
    for row in named.values():
        places.append(_place_of_row(register, row, row.kind, find_path_roles(row.key, paths, roles)))
    values = {**by_boiler.values.get(key, {}), **dict(rows[0].on_boiler)}
    return find_register_gaps(catalogue, values, places, sum_burner_inputs(inputs))


def _place_of_row(register: RegisterSnapshot, row: SheetRow, kind: str, path_roles: frozenset[str]) -> PlaceOnRecord:
    known = frozenset(k for k in VALUE_NAMES if _number_of(register, row, k) is not None)
    return PlaceOnRecord(row.role, kind, paths=path_roles, values=known)


def _number_of(register: RegisterSnapshot, row: SheetRow, key: str) -> float | None:
    """Return a number of a device of the sheet, by the sheet or else by the register."""
    place = register.positions.get(row.key)
    on_record = _number_on_record(register, place.id, key) if place else None
    return as_number(dict(row.attributes).get(key, on_record))


def _number_on_record(register: RegisterSnapshot, place: UUID, key: str) -> float | None:
    """Return a number of the device at a place, as set since it came, or else as stamped on it."""
    setting = register.settings.get((place, key))
    occupant = register.fittings.get(place, NO_FITTINGS).now
    if setting and occupant and setting.since >= occupant.since:
        return as_number(setting.value)
    return as_number(occupant.attributes.get(key)) if occupant else None


def _shared_places(register: RegisterSnapshot) -> dict[BoilerKey, list[tuple[PlaceKey, str]]]:
    """Return by boiler the places that its header group shares, with their roles; a sheet never names them."""
    groups = {b.header_group_id for b in register.boilers.values() if b.header_group_id}
    if not groups:
        return {}
    places: dict[UUID | None, list[tuple[PlaceKey, str]]] = defaultdict(list)
    for group, place, role in Position.objects.filter(header_group__in=groups).values_list(
        "header_group", "id", "role"
    ):
        places[group].append(((str(place),), role))
    return {key: places[b.header_group_id] for key, b in register.boilers.items() if b.header_group_id}
