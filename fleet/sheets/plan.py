"""What a sheet would do to the register, decided once: the report shows it, the import writes it."""

from collections.abc import Callable, Iterator, Sequence
from datetime import date, datetime
from functools import lru_cache
from typing import Any
from uuid import UUID, uuid5

from django.db.models import Model

from fleet.calendar import day_of, day_start
from fleet.portfolio.models import Boiler, Building, Device, Fitting, Portfolio, Position, Setting
from fleet.sheets import change_sentences, columns
from fleet.sheets.import_plan import ImportPlan, PlanLine, RowEffects
from fleet.sheets.register_sheet import SheetRow
from fleet.sheets.register_snapshot import NO_FITTINGS, DatedValue, PlaceRecord, RegisterOccupant, RegisterSnapshot

_day_start = lru_cache(maxsize=20_000)(day_start)
ROWS_PER_REPORT = 500


def plan_import(
    *,
    portfolio: Portfolio,
    register: RegisterSnapshot,
    rows: Sequence[SheetRow],
    at: datetime,
    step: Callable[[int], None] = lambda done: None,
) -> ImportPlan:
    """Compare the rows with the register by natural keys. A rename adds nothing; a missing row deletes nothing.

    Ids follow from the natural keys, so the same sheet read into two installations gives the same ids. `step` is called
    every few hundred rows with the number of rows done.
    """
    plan = ImportPlan(portfolio, register, at)
    comparison = _Comparison(plan)
    for number, row in enumerate(rows):
        plan.lines.append(comparison.compare_row(row))
        if number % ROWS_PER_REPORT == ROWS_PER_REPORT - 1:
            step(number + 1)
    comparison.add_boiler_events()
    return plan


class _Comparison:
    """The comparison row by row. A building or boiler is compared at its first row."""

    def __init__(self, plan: ImportPlan) -> None:
        self.plan, self.register, self.at = plan, plan.register, plan.at
        self.buildings: dict[str, UUID] = {}
        self.boilers: dict[tuple[str, str], UUID] = {}
        self.new_boilers: dict[UUID, tuple[SheetRow, list[int]]] = {}

    def compare_row(self, row: SheetRow) -> PlanLine:
        """Return what one row does, and add it to the plan."""
        does: RowEffects = []
        notes: list[str] = []
        building = self.buildings.get(row.building_ref) or self._compare_building(row, does)
        boiler = self.boilers.get(row.boiler_key) or self._compare_boiler(row, building, does)
        if row.position_ref:
            self._compare_position(row, boiler, does, notes)
        return PlanLine(
            row.line, row.building_ref, boiler=row.boiler_ref, position=row.position_ref, does=does, notes=notes
        )

    def _compare_building(self, row: SheetRow, does: RowEffects) -> UUID:
        existing = self.register.buildings.get((row.building_ref,))
        if existing:
            self._edit_building(existing, row, does)
        building_id = existing.id if existing else uuid5(self.plan.portfolio.id, f"building {row.building_ref}")
        self.buildings[row.building_ref] = building_id
        if not existing:
            values = {"ref": row.building_ref, "address": row.address, "zone": row.zone, "units": row.units or 0}
            values |= {"access_hours": row.access_hours or "", **dict(row.coordinates)}
            new = Building(id=building_id, portfolio=self.plan.portfolio, **values)
            self.plan.new[Building].append(new)
            self.plan.added["buildings"] = self.plan.added.get("buildings", 0) + 1
            sentence = f"{row.address} is a new building."
            does.append(("building", sentence))
            self.plan.add_event("register.added", building_id, boiler=None, moved=("", row.address), sentence=sentence)
        return building_id

    def _edit_building(self, existing: Building, row: SheetRow, does: RowEffects) -> None:
        if existing.address != row.address:
            sentence = change_sentences.renamed_sentence(existing.address, row.address)
            self._edit_field(
                Building,
                existing.id,
                boiler=None,
                field_="address",
                moved=(existing.address, row.address),
                sentence=sentence,
                does=does,
            )
        if row.units is not None and existing.units != row.units:
            sentence = change_sentences.units_sentence(row.address, existing.units, row.units)
            self._edit_field(
                Building,
                existing.id,
                boiler=None,
                field_="units",
                moved=(existing.units, row.units),
                sentence=sentence,
                does=does,
            )
        if row.access_hours is not None and existing.access_hours != row.access_hours:
            sentence = change_sentences.access_hours_sentence(row.address, row.access_hours)
            self._edit_field(
                Building,
                existing.id,
                boiler=None,
                field_="access_hours",
                moved=(existing.access_hours, row.access_hours),
                sentence=sentence,
                does=does,
            )
        for column, degrees in row.coordinates:
            before = getattr(existing, column)
            if before != degrees:
                sentence = change_sentences.coordinate_sentence(row.address, column, degrees)
                moved = (before, degrees)
                self._edit_field(
                    Building, existing.id, boiler=None, field_=column, moved=moved, sentence=sentence, does=does
                )

    def _edit_field(
        self,
        model: type[Model],
        subject: UUID,
        boiler: UUID | None,
        field_: str,
        moved: tuple[Any, Any],
        sentence: str,
        does: RowEffects,
    ) -> None:
        self.plan.edited[model].setdefault(subject, {})[field_] = moved[1]
        does.append(("renamed", sentence))
        self.plan.add_event(
            "register.renamed", subject, boiler=boiler, moved=(str(moved[0]), str(moved[1])), sentence=sentence
        )
        if boiler:
            self.plan.renamed.add(boiler)

    def _compare_boiler(self, row: SheetRow, building: UUID, does: RowEffects) -> UUID:
        existing, since = self.register.boilers.get(row.boiler_key), _day_start(row.since, row.zone)
        boiler_id = existing.id if existing else uuid5(building, f"boiler {row.boiler_ref}")
        self.boilers[row.boiler_key] = boiler_id
        if existing and existing.name != row.boiler_name:
            before_and_after = (existing.name, row.boiler_name)
            self._edit_field(
                Boiler,
                boiler_id,
                boiler=boiler_id,
                field_="name",
                moved=before_and_after,
                sentence=change_sentences.renamed_sentence(*before_and_after),
                does=does,
            )
        if not existing:
            values = {"ref": row.boiler_ref, "name": row.boiler_name, "since": since, "building_id": building}
            self.plan.new[Boiler].append(Boiler(id=boiler_id, portfolio=self.plan.portfolio, **values))
            self.plan.count_addition("boilers", boiler_id)
            self.new_boilers[boiler_id] = row, [0]
            does.append(("boiler", f"{row.boiler_name} of {row.address} is a new boiler."))
        for key, value in row.on_boiler:
            before = self.register.settings.get((boiler_id, key))
            if before is None or before.value != value:
                self._set_value(
                    row.boiler_name,
                    key,
                    before=before,
                    value=value,
                    since=self.at if before else since,
                    does=does,
                    boiler=boiler_id,
                )
        return boiler_id

    def _compare_position(self, row: SheetRow, boiler: UUID, does: RowEffects, notes: list[str]) -> None:
        existing = self.register.positions.get(row.key)
        place = existing or PlaceRecord(
            uuid5(boiler, f"position {row.position_ref}"),
            boiler,
            ref=row.position_ref,
            name=row.position_name,
            role=row.role,
        )
        if existing and existing.name != row.position_name:
            before_and_after = (existing.name, row.position_name)
            self._edit_field(
                Position,
                existing.id,
                boiler=boiler,
                field_="name",
                moved=before_and_after,
                sentence=change_sentences.renamed_sentence(*before_and_after),
                does=does,
            )
        if not existing:
            values = {"ref": row.position_ref, "name": row.position_name, "role_id": row.role, "boiler_id": boiler}
            self.plan.new[Position].append(Position(id=place.id, portfolio=self.plan.portfolio, **values))
            self.plan.count_addition("positions", boiler)
            self._note_new_place(boiler, place, row, does)
        self._compare_device(row, place, does, notes)
        self._compare_paths(row, boiler, place, does)
        self._compare_needed(row, place, new=existing is None, does=does)

    def _note_new_place(self, boiler: UUID, place: PlaceRecord, row: SheetRow, does: RowEffects) -> None:
        sentence = change_sentences.begin_with_name(row.position_name, "is a new place.")
        does.append(("position", sentence))
        if boiler in self.new_boilers:
            self.new_boilers[boiler][1][0] += 1
        else:
            self.plan.add_event(
                "register.added", place.id, boiler=boiler, moved=("", row.position_name), sentence=sentence
            )

    def _compare_device(self, row: SheetRow, place: PlaceRecord, does: RowEffects, notes: list[str]) -> None:
        """Fit the device unless one of this kind and day is on record already. Then compare its values."""
        if not row.kind:
            return
        fitted = self.register.fittings.get(place.id, NO_FITTINGS)
        day: date = row.fitted_on or row.since
        since, occupant = _day_start(day, row.zone), fitted.now
        if (day, row.kind) not in fitted.ever:
            self._fit_device(row, place, occupant=occupant, since=since, does=does)
            if since <= self.at and not (occupant and occupant.since > since):
                self._compare_values(row, place, stamped=dict(row.attributes), fitted=since, does=does)
        elif occupant and occupant.kind == row.kind and day_of(occupant.since, row.zone) == day:
            self._compare_values(row, place, stamped=occupant.attributes, fitted=occupant.since, does=does)
            self._compare_declared(row, place, occupant, does)
        elif since <= self.at:
            notes.append("Another device has been on record here since then. Its values stay.")

    def _fit_device(
        self, row: SheetRow, place: PlaceRecord, occupant: RegisterOccupant | None, since: datetime, does: RowEffects
    ) -> None:
        of_portfolio = {"portfolio": self.plan.portfolio}
        device = Device(
            id=uuid5(place.id, f"device {row.kind} {since.isoformat()}"),
            kind_id=row.kind,
            attributes=dict(row.attributes),
            **of_portfolio,
        )
        declared = {code: day.isoformat() for code, day in row.declared}
        self.plan.new[Device].append(device)
        self.plan.new[Fitting].append(
            Fitting(
                position_id=place.id, device=device, since=since, declared=declared, posted_at=self.at, **of_portfolio
            )
        )
        self.plan.count_addition("devices", place.boiler)
        kind = row.kind.replace("_", " ").capitalize()
        sentence = change_sentences.fitted_sentence(
            kind, row.position_name, change_sentences.day_in_words(row.fitted_on or row.since)
        )
        does.append(("device", sentence))
        if place.boiler not in self.new_boilers:
            before = occupant.kind if occupant else ""
            self.plan.add_event(
                "register.fitted", place.id, boiler=place.boiler, moved=(before, row.kind), sentence=sentence
            )

    def _compare_values(
        self, row: SheetRow, place: PlaceRecord, stamped: Any, fitted: datetime, does: RowEffects
    ) -> None:
        """Add a dated setting, from now on, for each value that differs from what is stamped or set on the device."""
        for key, value in row.attributes:
            before = self.register.settings.get((place.id, key))
            if before is None or before.since < fitted:
                before = DatedValue(stamped.get(key), fitted)
            if before.value != value:
                self._set_value(
                    row.position_name, key, before=before, value=value, since=self.at, does=does, place=place
                )

    def _compare_declared(
        self, row: SheetRow, place: PlaceRecord, occupant: RegisterOccupant, does: RowEffects
    ) -> None:
        """State the fitting of a device on record again with other declared days; the statement posted later holds."""
        declared_days = {code: day.isoformat() for code, day in row.declared}
        different = {code: day for code, day in declared_days.items() if occupant.declared.get(code) != day}
        if not different:
            return
        values = {"since": occupant.since, "declared": {**occupant.declared, **declared_days}, "posted_at": self.at}
        self.plan.new[Fitting].append(
            Fitting(portfolio=self.plan.portfolio, position_id=place.id, device_id=occupant.device, **values)
        )
        self.plan.count_addition("declared", place.boiler)
        for code, day in different.items():
            procedure_name, when = (
                code.replace("_", " ").capitalize(),
                change_sentences.day_in_words(date.fromisoformat(day)),
            )
            sentence = change_sentences.declared_sentence(procedure_name, row.position_name, when)
            does.append(("declared", sentence))
            before_and_after = (occupant.declared.get(code, ""), day)
            self.plan.add_event(
                "register.declared", place.id, boiler=place.boiler, moved=before_and_after, sentence=sentence
            )

    def _compare_paths(self, row: SheetRow, boiler: UUID, place: PlaceRecord, does: RowEffects) -> None:
        if not row.hangs_on:
            return
        keys = [(*row.boiler_key, ref) for ref in row.hangs_on]
        positions = self.register.positions
        ids = [positions[k].id if k in positions else uuid5(boiler, f"position {k[-1]}") for k in keys]
        paths, before = [str(id_) for id_ in ids], self.register.settings.get((place.id, "paths"))
        if before is None or before.value != paths:
            since = self.at if before else _day_start(row.since, row.zone)
            names = {str(p.id): p.ref for p in self._places_of_boiler(row)} if before else {}
            names.update(zip(paths, row.hangs_on, strict=True))
            self._set_value(
                row.position_name, "paths", before=before, value=paths, since=since, does=does, place=place, names=names
            )

    def _places_of_boiler(self, row: SheetRow) -> Iterator[PlaceRecord]:
        return (p for key, p in self.register.positions.items() if key[:2] == row.boiler_key)

    def _compare_needed(self, row: SheetRow, place: PlaceRecord, *, new: bool, does: RowEffects) -> None:
        self._compare_reason(row, place, new=new, does=does)
        before = self.register.settings.get((place.id, "needed"))
        if row.needed is None or row.needed == (before.value if before else True):
            return
        since = _day_start(row.since, row.zone) if new else self.at
        was = before or (None if new else DatedValue(True, since))
        self._set_value(row.position_name, "needed", before=was, value=row.needed, since=since, does=does, place=place)

    def _compare_reason(self, row: SheetRow, place: PlaceRecord, *, new: bool, does: RowEffects) -> None:
        key = columns.NOT_NEEDED_BECAUSE
        before = self.register.settings.get((place.id, key))
        if row.not_needed_because in ("", before.value if before else ""):
            return
        since = _day_start(row.since, row.zone) if new else self.at
        self._set_value(
            row.position_name, key, before=before, value=row.not_needed_because, since=since, does=does, place=place
        )

    def _set_value(
        self,
        name: str,
        key: str,
        before: DatedValue | None,
        value: Any,
        since: datetime,
        does: RowEffects,
        *,
        boiler: UUID | None = None,
        place: PlaceRecord | None = None,
        names: dict[str, str] | None = None,
    ) -> None:
        """Add a dated value. It is an event of its own unless its boiler is new."""
        of = {"boiler_id": boiler} if boiler else {"position_id": place.id if place else None}
        values = {"key": key, "value": value, "since": since, "posted_at": self.at}
        self.plan.new[Setting].append(Setting(portfolio=self.plan.portfolio, **of, **values))
        owner = boiler or (place.boiler if place else None)
        assert owner is not None
        self.plan.count_addition("settings", owner)
        before_and_after = (
            change_sentences.value_in_words(key, before.value, names) if before else "",
            change_sentences.value_in_words(key, value, names),
        )
        when = "from now on" if since == self.at else "from the beginning"
        sentence = change_sentences.setting_sentence(key, *before_and_after, when)
        does.append(("setting", sentence))
        if owner not in self.new_boilers:
            subject = boiler or (place.id if place else owner)
            self.plan.add_event(
                "register.set", subject, boiler=owner, moved=before_and_after, sentence=f"{name}: {sentence}"
            )

    def add_boiler_events(self) -> None:
        """Add one event for each new boiler, none for each of its places."""
        for boiler, (row, places) in self.new_boilers.items():
            since, count = change_sentences.day_in_words(row.since), f"{places[0]} place{'' if places[0] == 1 else 's'}"
            sentence = f"{row.boiler_name} of {row.address} is on record since {since}, with {count}."
            self.plan.add_event("register.added", boiler, boiler=boiler, moved=("", row.boiler_name), sentence=sentence)
