"""What a sheet would do to the register, decided once: the report shows it, the import writes it."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import lru_cache
from typing import Any
from uuid import UUID, uuid5

from django.db.models import Model

from fleet.calendar import day_of, day_start
from fleet.portfolio import told
from fleet.portfolio.known import NOBODY, Dated, Known, Occupant, Place
from fleet.portfolio.models import Boiler, Building, Device, Fitting, Portfolio, Position, Setting
from fleet.portfolio.news import News
from fleet.portfolio.sheet import SheetRow

Does = list[tuple[str, str]]  # (what, sentence): one row may do several things
_start = lru_cache(maxsize=20_000)(day_start)
EVERY = 500


@dataclass(frozen=True, slots=True)
class Line:
    """What one row of the sheet would do; nothing where `does` is empty. `notes` say why something is left as it is."""

    row: int
    building: str
    boiler: str
    position: str
    does: Does
    notes: list[str]


@dataclass(slots=True)
class Plan:
    """The rows to write by model, in the order they must be written, with report lines and events.

    `touched` are the boilers whose evidence changes, `renamed` those with an edited name.
    """

    portfolio: Portfolio
    known: Known
    at: datetime
    new: dict[type[Model], list[Any]] = field(default_factory=lambda: {m: [] for m in ORDER})
    edited: dict[type[Model], dict[UUID, dict[str, Any]]] = field(default_factory=lambda: {m: {} for m in ORDER[:3]})
    news: list[News] = field(default_factory=list)
    lines: list[Line] = field(default_factory=list)
    added: dict[str, int] = field(default_factory=dict)
    touched: set[UUID] = field(default_factory=set)
    renamed: set[UUID] = field(default_factory=set)

    def news_of(self, kind: str, subject: UUID, boiler: UUID | None, moved: tuple[str, str], sentence: str) -> None:
        """Add an event to the change log."""
        before, after = (told.short(t) for t in moved)
        self.news.append(News(kind, subject, boiler, before, after, sentence, "", self.at))

    def count(self, what: str, boiler: UUID) -> None:
        """Count one addition to a boiler."""
        self.added[what] = self.added.get(what, 0) + 1
        self.touched.add(boiler)


ORDER: tuple[type[Model], ...] = (Building, Boiler, Position, Device, Fitting, Setting)


def plan(
    *,
    portfolio: Portfolio,
    known: Known,
    rows: Sequence[SheetRow],
    at: datetime,
    step: Callable[[int], None] = lambda done: None,
) -> Plan:
    """Compare the rows with the register by natural keys. A rename adds nothing; a missing row deletes nothing.

    Ids follow from the natural keys, so the same sheet read into two installations gives the same ids. `step` is called
    every few hundred rows with the number of rows done.
    """
    made = Plan(portfolio, known, at)
    work = _Work(made)
    for number, row in enumerate(rows):
        made.lines.append(work.line(row))
        if number % EVERY == EVERY - 1:
            step(number + 1)
    work.tell_new_boilers()
    return made


class _Work:
    """The comparison row by row. A building or boiler is compared at its first row."""

    def __init__(self, made: Plan) -> None:
        self.made, self.known, self.at = made, made.known, made.at
        self.buildings: dict[str, UUID] = {}
        self.boilers: dict[tuple[str, str], UUID] = {}
        self.new_boilers: dict[UUID, tuple[SheetRow, list[int]]] = {}

    def line(self, row: SheetRow) -> Line:
        """Return what one row does, and add it to the plan."""
        does: Does = []
        notes: list[str] = []
        building = self.buildings.get(row.building_ref) or self._building(row, does)
        boiler = self.boilers.get(row.boiler_key) or self._boiler(row, building, does)
        if row.position_ref:
            self._position(row, boiler, does, notes)
        return Line(row.line, row.building_ref, row.boiler_ref, row.position_ref, does, notes)

    def _building(self, row: SheetRow, does: Does) -> UUID:
        there = self.known.buildings.get((row.building_ref,))
        if there:
            self._edit_building(there, row, does)
        made = there.id if there else uuid5(self.made.portfolio.id, f"building {row.building_ref}")
        self.buildings[row.building_ref] = made
        if not there:
            values = {"ref": row.building_ref, "address": row.address, "zone": row.zone, "units": row.units or 0}
            new = Building(id=made, portfolio=self.made.portfolio, access_hours=row.access_hours or "", **values)
            self.made.new[Building].append(new)
            self.made.added["buildings"] = self.made.added.get("buildings", 0) + 1
            sentence = f"{row.address} is a new building."
            does.append(("building", sentence))
            self.made.news_of("register.added", made, None, ("", row.address), sentence)
        return made

    def _edit_building(self, there: Building, row: SheetRow, does: Does) -> None:
        if there.address != row.address:
            said = told.renamed(there.address, row.address)
            self._edited(Building, there.id, None, "address", (there.address, row.address), said, does)
        if row.units is not None and there.units != row.units:
            said = told.units(row.address, there.units, row.units)
            self._edited(Building, there.id, None, "units", (there.units, row.units), said, does)
        if row.access_hours is not None and there.access_hours != row.access_hours:
            said = told.hours(row.address, row.access_hours)
            self._edited(Building, there.id, None, "access_hours", (there.access_hours, row.access_hours), said, does)

    def _edited(
        self,
        model: type[Model],
        subject: UUID,
        boiler: UUID | None,
        field_: str,
        moved: tuple[Any, Any],
        said: str,
        does: Does,
    ) -> None:
        self.made.edited[model].setdefault(subject, {})[field_] = moved[1]
        does.append(("renamed", said))
        self.made.news_of("register.renamed", subject, boiler, (str(moved[0]), str(moved[1])), said)
        if boiler:
            self.made.renamed.add(boiler)

    def _boiler(self, row: SheetRow, building: UUID, does: Does) -> UUID:
        there, since = self.known.boilers.get(row.boiler_key), _start(row.since, row.zone)
        made = there.id if there else uuid5(building, f"boiler {row.boiler_ref}")
        self.boilers[row.boiler_key] = made
        if there and there.name != row.boiler_name:
            moved = (there.name, row.boiler_name)
            self._edited(Boiler, made, made, "name", moved, told.renamed(*moved), does)
        if not there:
            values = {"ref": row.boiler_ref, "name": row.boiler_name, "since": since, "building_id": building}
            self.made.new[Boiler].append(Boiler(id=made, portfolio=self.made.portfolio, **values))
            self.made.count("boilers", made)
            self.new_boilers[made] = row, [0]
            does.append(("boiler", f"{row.boiler_name} of {row.address} is a new boiler."))
        for key, value in row.on_boiler:
            before = self.known.settings.get((made, key))
            if before is None or before.value != value:
                self._set(row.boiler_name, key, before, value, self.at if before else since, does, boiler=made)
        return made

    def _position(self, row: SheetRow, boiler: UUID, does: Does, notes: list[str]) -> None:
        there = self.known.positions.get(row.key)
        place = there or Place(
            uuid5(boiler, f"position {row.position_ref}"), boiler, row.position_ref, row.position_name, row.role
        )
        if there and there.name != row.position_name:
            moved = (there.name, row.position_name)
            self._edited(Position, there.id, boiler, "name", moved, told.renamed(*moved), does)
        if not there:
            values = {"ref": row.position_ref, "name": row.position_name, "role_id": row.role, "boiler_id": boiler}
            self.made.new[Position].append(Position(id=place.id, portfolio=self.made.portfolio, **values))
            self.made.count("positions", boiler)
            self._note_new(boiler, place, row, does)
        self._device(row, place, does, notes)
        self._paths(row, boiler, place, does)
        self._needed(row, place, new=there is None, does=does)

    def _note_new(self, boiler: UUID, place: Place, row: SheetRow, does: Does) -> None:
        sentence = told.sentence_of(row.position_name, "is a new place.")
        does.append(("position", sentence))
        if boiler in self.new_boilers:
            self.new_boilers[boiler][1][0] += 1
        else:
            self.made.news_of("register.added", place.id, boiler, ("", row.position_name), sentence)

    def _device(self, row: SheetRow, place: Place, does: Does, notes: list[str]) -> None:
        """Fit the device unless one of this kind and day is on record already. Then compare its values."""
        if not row.kind:
            return
        fitted = self.known.fittings.get(place.id, NOBODY)
        day: date = row.fitted_on or row.since
        since, now = _start(day, row.zone), fitted.now
        if (day, row.kind) not in fitted.ever:
            self._fit(row, place, now, since, does)
            if since <= self.at and not (now and now.since > since):
                self._values(row, place, dict(row.attributes), since, does)
        elif now and now.kind == row.kind and day_of(now.since, row.zone) == day:
            self._values(row, place, now.attributes, now.since, does)
            self._declare(row, place, now, does)
        elif since <= self.at:
            notes.append("Another device is on record here since: its values stay.")

    def _fit(self, row: SheetRow, place: Place, now: Occupant | None, since: datetime, does: Does) -> None:
        own = {"portfolio": self.made.portfolio}
        device = Device(
            id=uuid5(place.id, f"device {row.kind} {since.isoformat()}"),
            kind_id=row.kind,
            attributes=dict(row.attributes),
            **own,
        )
        declared = {code: day.isoformat() for code, day in row.declared}
        self.made.new[Device].append(device)
        self.made.new[Fitting].append(
            Fitting(position_id=place.id, device=device, since=since, declared=declared, posted_at=self.at, **own)
        )
        self.made.count("devices", place.boiler)
        kind = row.kind.replace("_", " ").capitalize()
        sentence = told.fitted(kind, row.position_name, told.day_in_words(row.fitted_on or row.since))
        does.append(("device", sentence))
        if place.boiler not in self.new_boilers:
            before = now.kind if now else ""
            self.made.news_of("register.fitted", place.id, place.boiler, (before, row.kind), sentence)

    def _values(self, row: SheetRow, place: Place, stamped: Any, fitted: datetime, does: Does) -> None:
        """Add a dated setting, from now on, for each value that differs from what is stamped or set on the device."""
        for key, value in row.attributes:
            before = self.known.settings.get((place.id, key))
            if before is None or before.since < fitted:
                before = Dated(stamped.get(key), fitted)
            if before.value != value:
                self._set(row.position_name, key, before, value, self.at, does, place=place)

    def _declare(self, row: SheetRow, place: Place, now: Occupant, does: Does) -> None:
        """State the fitting of a device on record again with other declared days; the statement posted later holds."""
        said = {code: day.isoformat() for code, day in row.declared}
        different = {code: day for code, day in said.items() if now.declared.get(code) != day}
        if not different:
            return
        values = {"since": now.since, "declared": {**now.declared, **said}, "posted_at": self.at}
        self.made.new[Fitting].append(
            Fitting(portfolio=self.made.portfolio, position_id=place.id, device_id=now.device, **values)
        )
        self.made.count("declared", place.boiler)
        for code, day in different.items():
            said_of, when = code.replace("_", " ").capitalize(), told.day_in_words(date.fromisoformat(day))
            sentence = told.declared(said_of, row.position_name, when)
            does.append(("declared", sentence))
            moved = (now.declared.get(code, ""), day)
            self.made.news_of("register.declared", place.id, place.boiler, moved, sentence)

    def _paths(self, row: SheetRow, boiler: UUID, place: Place, does: Does) -> None:
        if not row.hangs_on:
            return
        keys = [(*row.boiler_key, ref) for ref in row.hangs_on]
        there = self.known.positions
        ids = [there[k].id if k in there else uuid5(boiler, f"position {k[-1]}") for k in keys]
        paths, before = [str(id_) for id_ in ids], self.known.settings.get((place.id, "paths"))
        if before is None or before.value != paths:
            since = self.at if before else _start(row.since, row.zone)
            names = {str(p.id): p.ref for p in self._of_boiler(row)} if before else {}
            names.update(zip(paths, row.hangs_on, strict=True))
            self._set(row.position_name, "paths", before, paths, since, does, place=place, names=names)

    def _of_boiler(self, row: SheetRow) -> Iterator[Place]:
        return (p for key, p in self.known.positions.items() if key[:2] == row.boiler_key)

    def _needed(self, row: SheetRow, place: Place, *, new: bool, does: Does) -> None:
        before = self.known.settings.get((place.id, "needed"))
        if row.needed is None or row.needed == (before.value if before else True):
            return
        since = _start(row.since, row.zone) if new else self.at
        was = before or (None if new else Dated(True, since))
        self._set(row.position_name, "needed", was, row.needed, since, does, place=place)

    def _set(
        self,
        name: str,
        key: str,
        before: Dated | None,
        value: Any,
        since: datetime,
        does: Does,
        *,
        boiler: UUID | None = None,
        place: Place | None = None,
        names: dict[str, str] | None = None,
    ) -> None:
        """Add a dated value. It is an event of its own unless its boiler is new."""
        of = {"boiler_id": boiler} if boiler else {"position_id": place.id if place else None}
        values = {"key": key, "value": value, "since": since, "posted_at": self.at}
        self.made.new[Setting].append(Setting(portfolio=self.made.portfolio, **of, **values))
        owner = boiler or (place.boiler if place else None)
        assert owner is not None
        self.made.count("settings", owner)
        moved = (told.valued(key, before.value, names) if before else "", told.valued(key, value, names))
        when = "from now on" if since == self.at else "from the beginning"
        sentence = told.setting(key, *moved, when)
        does.append(("setting", sentence))
        if owner not in self.new_boilers:
            subject = boiler or (place.id if place else owner)
            self.made.news_of("register.set", subject, owner, moved, f"{name}: {sentence}")

    def tell_new_boilers(self) -> None:
        """Add one event for each new boiler, none for each of its places."""
        for boiler, (row, places) in self.new_boilers.items():
            since, count = told.day_in_words(row.since), f"{places[0]} place{'' if places[0] == 1 else 's'}"
            sentence = f"{row.boiler_name} of {row.address} is on record since {since}, with {count}."
            self.made.news_of("register.added", boiler, boiler, ("", row.boiler_name), sentence)
