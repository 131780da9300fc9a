"""What the register has of one value just then, and what an editor may not set it to."""

from collections.abc import Sequence
from datetime import datetime

from fleet.catalog import queries as catalog
from fleet.errors import Refused
from fleet.portfolio.models import Boiler
from fleet.rules.needed_roles import PlaceOnRecord, explain_always_needed, may_be_left_out
from fleet.sheets import columns, export, sheet_faults
from fleet.sheets.register_snapshot import NO_FITTINGS, PlaceRecord, RegisterSnapshot


def value_in_force(
    register: RegisterSnapshot, boiler: Boiler, place: PlaceRecord | None, key: str, at: datetime
) -> object:
    """Return a value of a boiler, or of a place and the device in it, as the register has it; None for none."""
    if place is None:
        dated = register.settings.get((boiler.id, key))
        return dated.value if dated else None
    if key == "needed":
        return _is_asked_for(register, place)
    if key == columns.NOT_NEEDED_BECAUSE:  # one that was taken back since no longer counts
        reason = register.settings.get((place.id, key))
        return reason.value if reason and not _is_asked_for(register, place) else None
    occupant = register.fittings.get(place.id, NO_FITTINGS).now
    return (
        export.device_values(place, occupant, register, catalog.catalogue_at(at)).get(key)
        if occupant and occupant.kind
        else None
    )


def _is_asked_for(register: RegisterSnapshot, place: PlaceRecord) -> bool:
    needed = register.settings.get((place.id, "needed"))
    return needed is None or needed.value is True


def refuse_value(register: RegisterSnapshot, place: PlaceRecord | None, key: str, text: str, at: datetime) -> None:
    """Refuse a text that this value of a boiler (`place` None) or of a place cannot have. Raises Refused with 422."""
    occupant = register.fittings.get(place.id, NO_FITTINGS).now if place else None
    allowed_keys: Sequence[str] = columns.ON_BOILER
    if place is not None:
        kind = catalog.catalogue_at(at).kinds.get(occupant.kind) if occupant else None
        allowed_keys = ["needed", columns.NOT_NEEDED_BECAUSE, *(kind.attributes - {"fitted_on"} if kind else ())]
    if key not in allowed_keys:
        raise Refused("value_does_not_fit", "This has no such value.", ("key",), status=422)
    if not text:
        raise Refused("empty", "Enter a value. Leave an unknown value as it is.", ("value",), status=422)
    wrong = sheet_faults.cell_fault(key, text)
    if wrong:
        raise Refused(*wrong, ("value",), status=422)
    if place is not None and key in ("needed", columns.NOT_NEEDED_BECAUSE):
        _refuse_left_out(register, place, key=key, text=text, at=at)


def _refuse_left_out(register: RegisterSnapshot, place: PlaceRecord, key: str, text: str, at: datetime) -> None:
    """Refuse to leave a place out without a reason, or one whose role every such boiler needs."""
    if key == "needed":
        if text == "no":
            message = "Say why it is not needed, who decided, and when: set “Why it is not needed”."
            raise Refused("empty", message, ("value",), status=422)
        return
    catalogue = catalog.catalogue_at(at)
    values = {k: dated.value for (owner, k), dated in register.settings.items() if owner == place.boiler}
    other_places = [p for p in register.positions.values() if p.boiler == place.boiler and p.id != place.id]
    counted_on = [on_record for p in other_places if (on_record := _place_counted_on(register, p))]
    if not may_be_left_out(catalogue, values, place.role, counted_on):
        message = explain_always_needed(catalogue.roles[place.role].name)
        raise Refused("always_needed", message, ("value",), status=422)


def _place_counted_on(register: RegisterSnapshot, place: PlaceRecord) -> PlaceOnRecord | None:
    """Return what the register has at a place; None where it neither asks for the place nor has a device there."""
    occupant = register.fittings.get(place.id, NO_FITTINGS).now
    kind = occupant.kind if occupant else ""
    return PlaceOnRecord(place.role, kind) if kind or _is_asked_for(register, place) else None
