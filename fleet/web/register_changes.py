"""The forms for changing a boiler and its positions in the register; each runs one function of the pipeline."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from fleet import pipeline
from fleet.calendar import day_of
from fleet.portfolio import told as words
from fleet.portfolio.columns import CHOICES, ON_BOILER, as_text
from fleet.portfolio.models import Position
from fleet.portfolio.news import Cause
from fleet.portfolio.seen import BoilerSeen, PlaceSeen
from fleet.rules.catalogue import Catalogue, Role
from fleet.rules.values import Service
from fleet.web.register_forms import Field, Form, Texts, chosen
from fleet.web.templatetags.said import word


@dataclass(frozen=True, slots=True)
class Desk:
    """What every form needs: the boiler as it was read, the catalogue release, the time, and who makes the change."""

    told: BoilerSeen
    service: str
    release: Catalogue
    at: datetime
    cause: Cause

    @property
    def today(self) -> str:
        """The local day of the building, ISO 8601."""
        return day_of(self.at, self.told.boiler.building.zone).isoformat()

    def rows(self, place: PlaceSeen | None = None) -> Any:
        """Return the rows of the register sheet that a change is about."""
        boiler = self.told.boiler
        return pipeline.Edited(boiler.building, boiler.ref, place.place.ref if place else "")

    def edit(self, place: PlaceSeen | None, was: Texts, cells: Texts, *, emptied: bool = False) -> None:
        """Change cells of a position, or of the boiler if `place` is None."""
        pipeline.edit_cells(of=self.rows(place), was=was, cells=cells, at=self.at, cause=self.cause, emptied=emptied)


def of_boiler(desk: Desk) -> list[Form]:
    """Return the boiler's own forms: name, service state, values, a new position, a paper."""
    return [_name(desk), _service(desk), _value(desk), _place(desk), paper(desk)]


def of_place(desk: Desk, seen: PlaceSeen) -> list[Form]:
    """Return the forms of a position: name, device, values, paths."""
    role = desk.release.roles.get(seen.place.role)
    forms = [_place_name(desk, seen)]
    if role is not None:
        forms += [_fit(desk, seen, role), _paths(desk, seen)]
    if seen.now is not None:
        forms += [_place_value(desk, seen), _remove(desk, seen)]
    return forms


def _name(desk: Desk) -> Form:
    name = desk.told.boiler.name
    fields = [Field("boiler_name", "Name", name, required=True)]
    return Form("name", "Rename", fields, lambda given, was: desk.edit(None, was, given), {"boiler_name": name})


def _service(desk: Desk) -> Form:
    def run(given: Texts, was: Texts) -> None:
        pipeline.set_service(
            boiler=desk.told.boiler,
            was=was["state"],
            state=given["state"],
            day=given["day"],
            at=desk.at,
            cause=desk.cause,
        )

    states = chosen([s.value for s in Service], word)
    fields = [Field("state", "Service state", desk.service, states, required=True), _day(desk)]
    return Form("service", "Service state", fields, run, {"state": desk.service})


def _day(desk: Desk) -> Field:
    return Field(
        "day", "From", desk.today, type="date", required=True, hint="From this day on, as the building's days go."
    )


def _value(desk: Desk) -> Form:
    """Return the form that sets any of the boiler's values."""
    was = {key: as_text(desk.told.values.get(key)) for key in ON_BOILER}
    return _dated(desk, "value", "Set a value", None, was)


def _place_value(desk: Desk, seen: PlaceSeen) -> Form:
    kind = desk.release.kinds.get(seen.now.kind if seen.now else "")
    keys = sorted(kind.attributes - {"fitted_on"}) if kind else []
    was = {key: as_text(seen.values.get(key)) for key in keys}
    was["needed"] = "no" if seen.needed is False else "yes"
    position = Position(id=seen.place.id, name=seen.place.name)
    return _dated(desk, f"value-{seen.place.id}", "Set a value", position, was)


def _dated(desk: Desk, key: str, title: str, position: Position | None, was: Texts) -> Form:
    def run(given: Texts, seen: Texts) -> None:
        pipeline.set_value(
            boiler=desk.told.boiler,
            position=position,
            key=given["key"],
            was=seen.get(given["key"], ""),
            text=given["value"],
            day=given["day"],
            at=desk.at,
            cause=desk.cause,
        )

    names = tuple((one, _labelled(one)) for one in was)
    listed = "; ".join(f"{words.called(one)}: {', '.join(CHOICES[one])}" for one in was if one in CHOICES)
    fields = [
        Field("key", "What", choices=names, required=True),
        Field("value", "Value", required=True, hint=f"As codes: {listed}." if listed else ""),
        _day(desk),
    ]
    return Form(key, title, fields, run, was)


def _labelled(key: str) -> str:
    unit = words.unit_of(key)
    return f"{words.called(key)}, {unit}" if unit else words.called(key)


def _place(desk: Desk) -> Form:
    def run(given: Texts, was: Texts) -> None:
        pipeline.add_cells(to=desk.rows(), cells=given, at=desk.at, cause=desk.cause)

    roles = tuple((code, role.name) for code, role in desk.release.roles.items())
    fields = [
        Field("position_ref", "Ref", required=True, hint="Short, and never another: the place is known by it."),
        Field("position_name", "Name", required=True),
        Field("role", "What it is for", choices=roles, required=True, hint="Fixed from then on."),
        _hangs_on(""),
    ]
    return Form("place", "Add a place", fields, run, button="Add")


def _hangs_on(value: str) -> Field:
    return Field("hangs_on", "Hangs on", value, hint="The refs of the paths that carry its signal, apart by |.")


def paper(desk: Desk) -> Form:
    """Return the form that adds a dated paper of the boiler."""

    def run(given: Texts, was: Texts) -> None:
        boiler = desk.told.boiler
        pipeline.hand_in_paper(building=boiler.building, boiler=boiler.id, given=given, at=desk.at, cause=desk.cause)

    return Form("paper", "Add a paper", paper_fields(desk.today), run, button="Add")


def paper_fields(today: str) -> list[Field]:
    """Return the fields of a paper."""
    return [
        Field("kind", "Kind", required=True, hint="A code, as in certificate or permit."),
        Field("name", "Name", required=True),
        Field("since", "Of", today, type="date", required=True),
        Field("until", "Its last day", type="date", required=True),
    ]


def _place_name(desk: Desk, seen: PlaceSeen) -> Form:
    name = seen.place.name
    fields = [Field("position_name", "Name", name, required=True)]

    def run(given: Texts, was: Texts) -> None:
        desk.edit(seen, was, given)

    return Form(f"name-{seen.place.id}", "Rename", fields, run, {"position_name": name})


def _paths(desk: Desk, seen: PlaceSeen) -> Form:
    paths = "|".join(seen.paths)

    def run(given: Texts, was: Texts) -> None:
        desk.edit(seen, was, given)

    return Form(f"paths-{seen.place.id}", "Change its paths", [_hangs_on(paths)], run, {"hangs_on": paths})


def _fit(desk: Desk, seen: PlaceSeen, role: Role) -> Form:
    """Return the form that fits a device, or replaces the one there is."""
    kinds = sorted(role.kinds)
    stamped = sorted({a for kind in kinds for a in desk.release.kinds[kind].attributes} - {"fitted_on"})
    zone = desk.told.boiler.building.zone
    was = {"kind": seen.now.kind if seen.now else ""}
    was["fitted_on"] = day_of(seen.now.since, zone).isoformat() if seen.now else ""
    fields = [
        Field("kind", "Kind", choices=chosen(kinds, lambda code: desk.release.kinds[code].name), required=True),
        Field("fitted_on", "Fitted on", desk.today, type="date", required=True),
        *(Field(a, words.called(a), unit=words.unit_of(a)) for a in stamped),
    ]

    def run(given: Texts, was: Texts) -> None:
        desk.edit(seen, was, given, emptied=True)

    title = "Replace the device" if seen.now else "Fit a device"
    note = "Until it is proven, a device that was fitted protects nothing." if role.part == "protection" else ""
    return Form(f"fit-{seen.place.id}", title, fields, run, was, button="Fit", note=note)


def _remove(desk: Desk, seen: PlaceSeen) -> Form:
    position, device = Position(id=seen.place.id, name=seen.place.name), str(seen.now.device) if seen.now else ""

    def run(given: Texts, was: Texts) -> None:
        pipeline.remove_device(
            boiler=desk.told.boiler,
            position=position,
            was=was["device"],
            day=given["day"],
            at=desk.at,
            cause=desk.cause,
        )

    note = "Nothing protects at a place that is empty."
    return Form(f"remove-{seen.place.id}", "Remove the device", [_day(desk)], run, {"device": device}, "Remove", note)
