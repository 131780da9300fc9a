"""The forms for changing a boiler and its positions in the register; each runs one function of the pipeline."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from fleet import pipeline
from fleet.calendar import day_of
from fleet.portfolio.models import Position
from fleet.records.events import Cause
from fleet.rules.catalogue import Catalogue, RoleSpec
from fleet.rules.values import ServiceMode
from fleet.sheets import change_sentences as words
from fleet.sheets.columns import CHOICES, NOT_NEEDED_BECAUSE, ON_BOILER, as_text
from fleet.sheets.register_views import RegisterBoilerView, RegisterPlaceView
from fleet.web.shared.forms import Form, FormField, Texts, build_choices
from fleet.web.templatetags.said import word


@dataclass(frozen=True, slots=True)
class EditContext:
    """What every form needs: the boiler as it was read, the catalogue release, the time, and who makes the change."""

    boiler_view: RegisterBoilerView
    service: str
    release: Catalogue
    at: datetime
    cause: Cause

    @property
    def today(self) -> str:
        """The local day of the building, ISO 8601."""
        return day_of(self.at, self.boiler_view.boiler.building.zone).isoformat()

    def edited_rows(self, place: RegisterPlaceView | None = None) -> Any:
        """Return the rows of the register sheet that a change is about."""
        boiler = self.boiler_view.boiler
        return pipeline.EditScope(boiler.building, boiler.ref, place.place.ref if place else "")

    def edit_place(
        self, place: RegisterPlaceView | None, original: Texts, cells: Texts, *, emptied: bool = False
    ) -> None:
        """Change cells of a position, or of the boiler if `place` is None."""
        pipeline.edit_cells(
            scope=self.edited_rows(place), was=original, cells=cells, at=self.at, cause=self.cause, emptied=emptied
        )


def boiler_forms(context: EditContext) -> list[Form]:
    """Return the boiler's own forms: name, service state, values, a new position, a paper."""
    return [
        _name_form(context),
        _service_form(context),
        _value_form(context),
        _place_form(context),
        paper_form(context),
    ]


def place_forms(context: EditContext, place: RegisterPlaceView) -> list[Form]:
    """Return the forms of a position: name, device, values, paths."""
    role = context.release.roles.get(place.place.role)
    forms = [_place_name_form(context, place)]
    if role is not None:
        forms += [_fit_form(context, place, role), _paths_form(context, place)]
    if place.now is not None:
        forms += [_place_value_form(context, place), _remove_form(context, place)]
    return forms


def _name_form(context: EditContext) -> Form:
    name = context.boiler_view.boiler.name
    fields = [FormField("boiler_name", "Name", name, required=True)]
    return Form(
        "name",
        "Rename",
        fields=fields,
        run=lambda texts, original: context.edit_place(None, original, texts),
        page_values={"boiler_name": name},
    )


def _service_form(context: EditContext) -> Form:
    def run_form(texts: Texts, original: Texts) -> None:
        pipeline.set_service(
            boiler=context.boiler_view.boiler,
            was=original["state"],
            state=texts["state"],
            day=texts["day"],
            at=context.at,
            cause=context.cause,
        )

    states = build_choices(ServiceMode, word)
    fields = [FormField("state", "Service state", context.service, states, required=True), _day_field(context)]
    return Form("service", "Service state", fields=fields, run=run_form, page_values={"state": context.service})


def _day_field(context: EditContext) -> FormField:
    return FormField(
        "day", "From", context.today, type="date", required=True, hint="From this day on, in the building's time zone."
    )


def _value_form(context: EditContext) -> Form:
    """Return the form that sets any of the boiler's values."""
    page_values = {key: as_text(context.boiler_view.values.get(key)) for key in ON_BOILER}
    return _dated_value_form(context, "value", title="Set a value", position=None, page_values=page_values)


def _place_value_form(context: EditContext, place: RegisterPlaceView) -> Form:
    kind = context.release.kinds.get(place.now.kind if place.now else "")
    keys = sorted(kind.attributes - {"fitted_on"}) if kind else []
    page_values = {key: as_text(place.values.get(key)) for key in keys}
    page_values["needed"] = "no" if place.needed is False else "yes"
    page_values[NOT_NEEDED_BECAUSE] = place.not_needed_because
    position = Position(id=place.place.id, name=place.place.name)
    return _dated_value_form(
        context, f"value-{place.place.id}", title="Set a value", position=position, page_values=page_values
    )


def _dated_value_form(
    context: EditContext, key: str, title: str, position: Position | None, page_values: Texts
) -> Form:
    def run_form(texts: Texts, original: Texts) -> None:
        pipeline.set_value(
            boiler=context.boiler_view.boiler,
            position=position,
            key=texts["key"],
            was=original.get(texts["key"], ""),
            text=texts["value"],
            day=texts["day"],
            at=context.at,
            cause=context.cause,
        )

    names = tuple((code, _value_label(code)) for code in page_values)
    choices_text = "; ".join(
        f"{words.key_in_words(code)}: {', '.join(CHOICES[code])}" for code in page_values if code in CHOICES
    )
    fields = [
        FormField("key", "What", choices=names, required=True),
        FormField("value", "Value", required=True, hint=f"Codes: {choices_text}." if choices_text else ""),
        _day_field(context),
    ]
    return Form(key, title, fields=fields, run=run_form, page_values=page_values)


def _value_label(key: str) -> str:
    unit = words.unit_of(key)
    return f"{words.key_in_words(key)}, {unit}" if unit else words.key_in_words(key)


def _place_form(context: EditContext) -> Form:
    def run_form(texts: Texts, original: Texts) -> None:
        pipeline.add_cells(scope=context.edited_rows(), cells=texts, at=context.at, cause=context.cause)

    roles = tuple((code, role.name) for code, role in context.release.roles.items())
    fields = [
        FormField(
            "position_ref", "Ref", required=True, hint="Short. It identifies the place and cannot be changed later."
        ),
        FormField("position_name", "Name", required=True),
        FormField("role", "What it is for", choices=roles, required=True, hint="It cannot be changed later."),
        _hangs_on_field(""),
    ]
    return Form("place", "Add a place", fields, run_form, button="Add")


def _hangs_on_field(value: str) -> FormField:
    return FormField("hangs_on", "Hangs on", value, hint="The refs of the paths that carry its signal, separated by |.")


def paper_form(context: EditContext) -> Form:
    """Return the form that adds a dated paper of the boiler."""

    def run_form(texts: Texts, original: Texts) -> None:
        boiler = context.boiler_view.boiler
        pipeline.hand_in_paper(
            building=boiler.building, boiler=boiler.id, cells=texts, at=context.at, cause=context.cause
        )

    return Form("paper", "Add a paper", paper_fields(context.today), run_form, button="Add")


def paper_fields(today: str) -> list[FormField]:
    """Return the fields of a paper."""
    return [
        FormField("kind", "Kind", required=True, hint="A code such as certificate or permit."),
        FormField("name", "Name", required=True),
        FormField("since", "Of", today, type="date", required=True),
        FormField("until", "Its last day", type="date", required=True),
    ]


def _place_name_form(context: EditContext, place: RegisterPlaceView) -> Form:
    name = place.place.name
    fields = [FormField("position_name", "Name", name, required=True)]

    def run_form(texts: Texts, original: Texts) -> None:
        context.edit_place(place, original, texts)

    return Form(f"name-{place.place.id}", "Rename", fields=fields, run=run_form, page_values={"position_name": name})


def _paths_form(context: EditContext, place: RegisterPlaceView) -> Form:
    paths = "|".join(place.paths)

    def run_form(texts: Texts, original: Texts) -> None:
        context.edit_place(place, original, texts)

    return Form(
        f"paths-{place.place.id}",
        "Change its paths",
        fields=[_hangs_on_field(paths)],
        run=run_form,
        page_values={"hangs_on": paths},
    )


def _fit_form(context: EditContext, place: RegisterPlaceView, role: RoleSpec) -> Form:
    """Return the form that fits a device, or replaces the one there is."""
    kinds = sorted(role.kinds)
    attributes = sorted({a for kind in kinds for a in context.release.kinds[kind].attributes} - {"fitted_on"})
    zone = context.boiler_view.boiler.building.zone
    page_values = {"kind": place.now.kind if place.now else ""}
    page_values["fitted_on"] = day_of(place.now.since, zone).isoformat() if place.now else ""
    fields = [
        FormField(
            "kind", "Kind", choices=build_choices(kinds, lambda code: context.release.kinds[code].name), required=True
        ),
        FormField("fitted_on", "Fitted on", context.today, type="date", required=True),
        *(FormField(a, words.key_in_words(a), unit=words.unit_of(a)) for a in attributes),
    ]

    def run_form(texts: Texts, original: Texts) -> None:
        context.edit_place(place, original, texts, emptied=True)

    title = "Replace the device" if place.now else "Fit a device"
    note = "A device that was fitted protects nothing until it is proven." if role.part == "protection" else ""
    return Form(
        f"fit-{place.place.id}", title, fields=fields, run=run_form, page_values=page_values, button="Fit", note=note
    )


def _remove_form(context: EditContext, place: RegisterPlaceView) -> Form:
    position, device = Position(id=place.place.id, name=place.place.name), str(place.now.device) if place.now else ""

    def run_form(texts: Texts, original: Texts) -> None:
        pipeline.remove_device(
            boiler=context.boiler_view.boiler,
            position=position,
            was=original["device"],
            day=texts["day"],
            at=context.at,
            cause=context.cause,
        )

    note = "At an empty place, nothing protects."
    return Form(
        f"remove-{place.place.id}",
        "Remove the device",
        fields=[_day_field(context)],
        run=run_form,
        page_values={"device": device},
        button="Remove",
        note=note,
    )
