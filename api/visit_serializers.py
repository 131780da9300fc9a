"""The shape of a visit as it is posted, and its way into `IncomingVisit`."""

from typing import Any
from uuid import uuid4

from rest_framework import serializers

from api.strict import InstantField, ScalarField, StrictSerializer
from fleet.visits.incoming import IncomingEntry, IncomingVisit, Person

KINDS = (
    "annual_service",
    "season_start",
    "season_shutdown",
    "follow_up",
    "no_heat",
    "routine_check",
    "restart",
    "inspection",
)
ARRIVALS = ("firing", "standing_by", "locked_out", "off", "no_power", "unknown")
LEFT = ("firing", "on_call", "off_ready", "off_locked", "attended")
OUTCOMES = ("pass", "fail", "inconclusive", "not_done")
WHY = ("no_call_for_heat", "out_of_time", "no_access", "no_part", "unsafe", "not_fitted")
ACTS = ("test", "action", "observe", "replace", "fit", "remove", "set")


class ToldSerializer(StrictSerializer):
    """Who was told, how and when."""

    name = serializers.CharField(max_length=200)
    how = serializers.CharField(max_length=64, required=False)
    at = InstantField(required=False)


class LeavingChecksSerializer(StrictSerializer):
    """The last look round before leaving."""

    jumpers_off = serializers.BooleanField(required=False)
    set_points_read = serializers.BooleanField(required=False)
    feed_open = serializers.BooleanField(required=False)
    drains_shut = serializers.BooleanField(required=False)
    glass_cocks_open = serializers.BooleanField(required=False)
    resets_in = serializers.BooleanField(required=False)
    water_at_line = serializers.BooleanField(required=False)
    tags_accounted = serializers.BooleanField(required=False)
    told = ToldSerializer(many=True, required=False)


class PersonSerializer(StrictSerializer):
    """Somebody who was there: a user, or a name."""

    user = serializers.UUIDField(required=False)
    name = serializers.CharField(max_length=200, required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """One of the two."""
        if len(attrs) != 1:
            raise serializers.ValidationError("Give either user or name.", code="user_or_name")
        return attrs


class EntrySerializer(StrictSerializer):
    """One line of the visit: exactly one of test, action, observe, replace, fit, remove, set."""

    test = serializers.CharField(max_length=40, required=False)
    action = serializers.CharField(max_length=40, required=False)
    observe = serializers.CharField(max_length=40, required=False)
    replace = serializers.DictField(required=False)
    fit = serializers.DictField(required=False)
    remove = serializers.DictField(required=False)
    set = serializers.DictField(required=False)
    position = serializers.UUIDField(required=False)
    phase = serializers.ChoiceField(choices=("as_found", "as_left"), required=False)
    outcome = serializers.ChoiceField(choices=OUTCOMES, required=False)
    why = serializers.ChoiceField(choices=WHY, required=False)
    readings = serializers.DictField(child=ScalarField(), required=False)
    ref = serializers.CharField(max_length=64, required=False)
    performed_at = InstantField(required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Check what depends on the act, and bring `position` out of the inner forms."""
        acts = [a for a in ACTS if a in attrs]
        if len(acts) != 1:
            raise serializers.ValidationError(f"Exactly one of {', '.join(ACTS)}.", code="one_act")
        act = acts[0]
        if act == "test" and "outcome" not in attrs:
            raise serializers.ValidationError({"outcome": "A test needs its outcome."}, code="required")
        inner = _INNER[act](data=attrs[act]) if act in _INNER else None
        if inner is not None and not inner.is_valid():
            raise serializers.ValidationError({act: inner.errors})
        return {**attrs, "act": act, **({act: inner.validated_data} if inner else {})}


class DeviceSerializer(serializers.Serializer[Any]):
    """A device: its kind and what is stamped or set on it."""

    id = serializers.UUIDField(required=False)
    kind = serializers.CharField(max_length=40)

    def to_internal_value(self, data: Any) -> Any:
        """Known fields, and every other one as a value of the device."""
        return {**super().to_internal_value(data), "values": _scalars(data, ("id", "kind"))}


class ReplaceSerializer(StrictSerializer):
    """Ends the occupant and starts the new one."""

    position = serializers.UUIDField()
    reason = serializers.CharField(max_length=200, required=False)

    def get_fields(self) -> dict[str, Any]:
        """Add `with`, a word that Python keeps for itself."""
        return {**super().get_fields(), "with": DeviceSerializer()}


class RemoveSerializer(StrictSerializer):
    """Empties a position."""

    position = serializers.UUIDField()
    reason = serializers.CharField(max_length=200, required=False)


class SetSerializer(serializers.Serializer[Any]):
    """Changes settings of a position: every field beside `position` is a value."""

    position = serializers.UUIDField()

    def to_internal_value(self, data: Any) -> Any:
        """The position, and every other field as a value."""
        return {**super().to_internal_value(data), "values": _scalars(data, ("position",))}


def _scalars(data: Any, besides: tuple[str, ...]) -> dict[str, Any]:
    faults, values, field = {}, {}, ScalarField()
    for name, value in data.items():
        if name not in besides:
            try:
                values[name] = field.run_validation(value)
            except serializers.ValidationError as error:
                faults[name] = error.detail
    if faults:
        raise serializers.ValidationError(faults)
    return values


_INNER: dict[str, type[serializers.Serializer[Any]]] = {
    "replace": ReplaceSerializer,
    "fit": ReplaceSerializer,
    "remove": RemoveSerializer,
    "set": SetSerializer,
}


class VisitSerializer(StrictSerializer):
    """People at one boiler, once. The sender chooses the id, so that a repeat is the same visit."""

    id = serializers.UUIDField(required=False)
    boiler = serializers.UUIDField()
    kind = serializers.ChoiceField(choices=KINDS)
    performed_at = InstantField()
    people = PersonSerializer(many=True, allow_empty=False)
    call_for_heat = serializers.BooleanField(required=False, allow_null=True)
    state_on_arrival = serializers.ChoiceField(choices=ARRIVALS, required=False)
    left_as = serializers.ChoiceField(choices=LEFT, required=False)
    entries = EntrySerializer(many=True, max_length=200)
    leaving_checks = LeavingChecksSerializer(required=False)
    note = serializers.CharField(max_length=4000, required=False, allow_blank=True)
    corrects = serializers.UUIDField(required=False)
    reason = serializers.CharField(max_length=400, required=False)
    void = serializers.BooleanField(required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """A correction gives its reason; only a correction may be void; any other visit has entries."""
        if "corrects" in attrs and not attrs.get("reason"):
            raise serializers.ValidationError({"reason": "A correction gives its reason."}, code="required")
        if attrs.get("void") and "corrects" not in attrs:
            raise serializers.ValidationError({"void": "Only a correction can be void."}, code="not_a_correction")
        if not attrs["entries"] and not attrs.get("void"):
            raise serializers.ValidationError({"entries": "A visit has at least one entry."}, code="empty")
        return attrs


def incoming(data: dict[str, Any]) -> IncomingVisit:
    """Turn validated data into the one form that the core takes."""
    at = data["performed_at"]
    optional = ("call_for_heat", "state_on_arrival", "left_as", "note", "corrects", "reason", "void")
    checks = {k: v for k, v in data.get("leaving_checks", {}).items() if k != "told"}
    told = [_told(t) for t in data.get("leaving_checks", {}).get("told", [])]
    return IncomingVisit(
        id=data.get("id") or uuid4(),
        boiler=data["boiler"],
        kind=data["kind"],
        performed_at=at,
        entries=tuple(_entry(e, e.get("performed_at", at)) for e in data["entries"]),
        people=tuple(Person(p.get("user"), p.get("name", "")) for p in data["people"]),
        leaving_checks={**checks, **({"told": told} if told else {})},
        **{k: data[k] for k in optional if k in data},
    )


def _told(told: dict[str, Any]) -> dict[str, str]:
    return {k: v.isoformat() if k == "at" else v for k, v in told.items()}


def _entry(data: dict[str, Any], at: Any) -> IncomingEntry:
    act = data["act"]
    inner = data[act] if isinstance(data[act], dict) else {}
    device = inner.get("with", {})
    return IncomingEntry(
        act=act,
        code=data[act] if isinstance(data[act], str) else "",
        position=inner.get("position", data.get("position")),
        at=at,
        phase=data.get("phase", ""),
        outcome=data.get("outcome", ""),
        why=data.get("why", ""),
        reason=inner.get("reason", ""),
        readings=data.get("readings", {}),
        kind=device.get("kind", ""),
        values=device.get("values", inner.get("values", {})),
        device=device.get("id"),
        ref=data.get("ref", ""),
    )
