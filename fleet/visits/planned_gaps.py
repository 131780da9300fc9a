"""What the registers of a sheet's boilers will leave out once it is saved: told before anybody decides."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Min

from fleet.calendar import day_of
from fleet.portfolio.models import Boiler, Building, Device, Fitting, Position, Setting
from fleet.rules.catalogue import Catalogue, NeedExposure
from fleet.rules.needed_roles import GRACE_DAYS, RegisterGap, in_words
from fleet.rules.vocabulary import OCCUPANT_ACTS, EntryAct
from fleet.sheets.import_plan import ImportPlan
from fleet.sheets.register_sheet import SheetRow
from fleet.sheets.register_snapshot import NO_FITTINGS
from fleet.visits.models import Entry
from fleet.visits.places import REGISTER_ORDER, Moment, standing_entries
from fleet.visits.register_gaps import PlaceContent, gaps_of_places, values_of_stay

BoilerKey = tuple[str, ...]  # building ref and boiler ref


@dataclass(frozen=True, slots=True)
class Occupancy:
    """What fills a place from a moment on; `kind` "": nothing."""

    moment: Moment
    kind: str = ""
    attributes: dict[str, Any] = field(default_factory=dict)


@dataclass(slots=True)
class PlannedPlace:
    """A place once the sheet is saved: its role, what fills it by then, and the values set there with their moments.

    Its first day on record is that of its first fitting. One without any, which its sheet left empty, has begun.
    """

    role: str
    has_fitting: bool = False
    has_begun_fitting: bool = False
    occupant: Occupancy | None = None
    settings: dict[str, tuple[Moment, Any]] = field(default_factory=dict)

    @property
    def is_on_record(self) -> bool:
        """Whether its first day on record has come."""
        return self.has_begun_fitting or not self.has_fitting

    def fill(self, occupancy: Occupancy) -> None:
        """Note what fills the place; of two notes the later moment counts, of one moment the later note."""
        if self.occupant is None or occupancy.moment >= self.occupant.moment:
            self.occupant = occupancy

    def set_value(self, key: str, moment: Moment, value: Any) -> None:
        """Note a value; of two notes the later moment counts, of one moment the later note."""
        if key not in self.settings or moment >= self.settings[key][0]:
            self.settings[key] = moment, value

    def content(self) -> PlaceContent:
        """Return the place as it is asked about what a boiler of its kind needs."""
        _, paths = self.settings.get("paths", (None, ()))
        path_ids = tuple(UUID(path) for path in paths)
        if self.occupant is None or not self.occupant.kind:
            return PlaceContent(self.role, paths=path_ids)
        dated_values = ((key, value, moment[0]) for key, (moment, value) in self.settings.items())
        values = values_of_stay(self.occupant.attributes, self.occupant.moment[0], dated_values)
        return PlaceContent(self.role, self.occupant.kind, values, path_ids)


def gap_lines(plan: ImportPlan, rows: Sequence[SheetRow], catalogue: Catalogue) -> Iterator[dict[str, Any]]:
    """Yield a line for each boiler of the sheet whose register will leave something out, in the sheet's order."""
    first_rows: dict[BoilerKey, SheetRow] = {}
    for row in rows:
        first_rows.setdefault(row.boiler_key, row)
    register = PlannedRegister(plan)
    for key, row in first_rows.items():
        gaps = register.gaps_of_boiler(key, catalogue)
        if gaps:
            sentence = (
                f"Not on record even then: {in_words(gaps)}. The boiler is at best due, and after {GRACE_DAYS} days "
                f"impaired, until each is on record.{_exposure_in_words(gaps)}"
            )
            fields = {"row": row.line, "building": key[0], "boiler": key[1], "position": "", "notes": []}
            yield {**fields, "does": [{"what": "not_on_record", "sentence": sentence}]}


def _exposure_in_words(gaps: Sequence[RegisterGap]) -> str:
    """Return a sentence for each instant from which a gap makes the boiler *exposed*; each begins with a space."""
    instants = {NeedExposure.FROM_SURVEY: "from its first survey on", NeedExposure.AFTER_GRACE: "after those days"}
    by_instant = ((words, [g for g in gaps if g.exposes is exposure]) for exposure, words in instants.items())
    return "".join(f" For want of {in_words(own)} it is exposed {words}." for words, own in by_instant if own)


class PlannedRegister:
    """The register as it will be once a plan is saved, with what visits did: read once for all boilers of the sheet.

    Of a boiler whose first day is yet to come it is what will be on record on that day.
    """

    def __init__(self, plan: ImportPlan) -> None:
        self.plan, self.snapshot = plan, plan.register
        new_boilers: list[Boiler] = plan.new[Boiler]
        self.boilers = {b.id: b for b in (*self.snapshot.boilers.values(), *new_boilers)}
        self.ids_by_key = {key: boiler.id for key, boiler in self.snapshot.boilers.items()} | self._new_boiler_ids()
        self.places_by_owner: dict[UUID, dict[UUID, PlannedPlace]] = defaultdict(dict)  # by boiler or header group
        self.instants: dict[UUID, datetime] = {}  # by place
        self.values: dict[UUID, dict[str, Any]] = {boiler: {} for boiler in self.boilers}
        self.places: dict[UUID, PlannedPlace] = {}
        self._read_snapshot()
        self._read_shared_places()
        self._read_visits()
        self._read_plan()

    def gaps_of_boiler(self, key: BoilerKey, catalogue: Catalogue) -> tuple[RegisterGap, ...]:
        """Return what the register of a boiler will leave out."""
        boiler = self.boilers[self.ids_by_key[key]]
        places = dict(self.places_by_owner[boiler.id])
        if boiler.header_group_id:
            places |= self.places_by_owner[boiler.header_group_id]
        contents = {place_id: place.content() for place_id, place in places.items() if place.is_on_record}
        return gaps_of_places(catalogue, self.values[boiler.id], contents)

    def _new_boiler_ids(self) -> dict[BoilerKey, UUID]:
        refs = {b.id: b.ref for b in (*self.snapshot.buildings.values(), *self.plan.new[Building])}
        return {(refs[b.building_id], b.ref): b.id for b in self.plan.new[Boiler]}

    def _add_place(self, place_id: UUID, owner: UUID, role: str, at: datetime) -> PlannedPlace:
        place = self.places[place_id] = self.places_by_owner[owner][place_id] = PlannedPlace(role)
        self.instants[place_id] = at
        return place

    def _instant_of(self, boiler: UUID) -> datetime:
        return max(self.plan.at, self.boilers[boiler].since)

    def _read_snapshot(self) -> None:
        for record in self.snapshot.positions.values():
            place = self._add_place(record.id, record.boiler, record.role, self._instant_of(record.boiler))
            fittings = self.snapshot.fittings.get(record.id, NO_FITTINGS)
            today = day_of(self.instants[record.id], self.boilers[record.boiler].building.zone)
            place.has_fitting = bool(fittings.ever)
            place.has_begun_fitting = any(day <= today for day, _ in fittings.ever)
            if fittings.now:
                occupant = fittings.now
                place.fill(Occupancy((occupant.since, *REGISTER_ORDER), occupant.kind, dict(occupant.attributes)))
        for (owner, key), dated in self.snapshot.settings.items():
            if owner in self.places:
                self.places[owner].set_value(key, (dated.since, *REGISTER_ORDER), dated.value)
            else:
                self.values[owner][key] = dated.value

    def _read_shared_places(self) -> None:
        """Read the places of the boilers' header groups, which no sheet names."""
        groups = {b.header_group_id for b in self.boilers.values() if b.header_group_id}
        if not groups:
            return
        shared = Position.objects.filter(header_group__in=groups).annotate(first_day=Min("fittings__since"))
        shared_ids = []
        for row in shared.order_by("id"):
            assert row.header_group_id is not None
            place = self._add_place(row.id, row.header_group_id, row.role_id, self.plan.at)
            place.has_fitting = row.first_day is not None
            place.has_begun_fitting = row.first_day is not None and row.first_day <= self.plan.at
            shared_ids.append(row.id)
        fittings = Fitting.objects.filter(position__in=shared_ids, since__lte=self.plan.at).select_related("device")
        self._fill_places(fittings.order_by("posted_at"))
        settings = Setting.objects.filter(position__in=shared_ids, since__lte=self.plan.at)
        self._set_values(settings.order_by("posted_at"))

    def _fill_places(self, fittings: Iterable[Fitting]) -> None:
        for fitting in fittings:
            device = fitting.device
            kind, attributes = (device.kind_id, dict(device.attributes)) if device else ("", {})
            place = self.places[fitting.position_id]
            place.fill(Occupancy((fitting.since, *REGISTER_ORDER), kind, attributes))

    def _set_values(self, settings: Iterable[Setting]) -> None:
        for setting in settings:
            assert setting.position_id is not None
            self.places[setting.position_id].set_value(setting.key, (setting.since, *REGISTER_ORDER), setting.value)

    def _read_visits(self) -> None:
        """Read what visits fitted, removed and set."""
        if not self.places:
            return
        acts = (*OCCUPANT_ACTS, EntryAct.SET)
        entries = Entry.objects.filter(position__in=list(self.places), act__in=acts, performed_at__lte=self.plan.at)
        for entry in standing_entries(entries).select_related("device"):
            assert entry.position_id is not None
            place, moment = self.places[entry.position_id], (entry.performed_at, str(entry.visit_id), entry.number)
            if entry.act == EntryAct.SET:
                for key, value in entry.values.items():
                    place.set_value(key, moment, value)
            elif entry.act == EntryAct.REMOVE or entry.device is None:
                place.fill(Occupancy(moment))
            else:
                place.fill(Occupancy(moment, entry.device.kind_id, dict(entry.device.attributes)))

    def _read_plan(self) -> None:
        """Read what the sheet adds: places, devices, values. What begins later is not on record until then."""
        for position in self.plan.new[Position]:
            self._add_place(position.id, position.boiler_id, position.role_id, self._instant_of(position.boiler_id))
        new_devices = {device.id for device in self.plan.new[Device]}
        fittings: list[Fitting] = self.plan.new[Fitting]
        # A statement of other declared days names the device that is there already.
        for fitting in (f for f in fittings if f.device_id in new_devices):
            self.places[fitting.position_id].has_fitting = True
            if fitting.since <= self.instants[fitting.position_id]:
                self.places[fitting.position_id].has_begun_fitting = True
                self._fill_places([fitting])
        for setting in self.plan.new[Setting]:
            if setting.boiler_id and setting.since <= self._instant_of(setting.boiler_id):
                self.values[setting.boiler_id][setting.key] = setting.value
            elif setting.position_id and setting.since <= self.instants[setting.position_id]:
                self._set_values([setting])
