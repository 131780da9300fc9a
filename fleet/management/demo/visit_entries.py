"""Entries of typical visits: a flush, a yearly service, a no-heat call."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID, uuid5

from fleet.portfolio.models import Boiler, Position
from fleet.rules.values import Value
from fleet.visits.incoming import IncomingEntry, IncomingVisit, Person

GOOD_FLUSH: dict[str, Any] = {
    "burner_firing": True,
    "water": "runs",
    "burner_stopped": True,
    "recovery": "prompt",
    "sediment": "clear",
}
GOOD_BLOWDOWN: dict[str, Any] = {"water_returns": "prompt", "both_cocks_clear": True}
GOOD_POP: dict[str, Any] = {"opens_psi": 15.0, "opened_sharply": True, "after_pop": "tight", "seal_intact": True}
GOOD_LIFT: dict[str, Any] = {"gauge_psi": 6.0, "lifted": True, "discharged": True, "after_lift": "tight"}
LEFT_WELL: Mapping[str, object] = {
    "jumpers_off": True,
    "set_points_read": True,
    "feed_open": True,
    "drains_shut": True,
    "glass_cocks_open": True,
    "resets_in": True,
    "water_at_line": True,
    "tags_accounted": True,
    "told": [{"name": "Ines Okafor", "how": "phone"}],
}


@dataclass(frozen=True, slots=True)
class VisitWriter:
    """Writes visits to one boiler, with its positions by ref."""

    boiler: Boiler
    places: Mapping[str, UUID]

    @classmethod
    def for_boiler(cls, boiler: Boiler) -> "VisitWriter":
        """Return a writer for a boiler."""
        return cls(boiler, dict(Position.objects.filter(boiler=boiler).values_list("ref", "id")))

    def test_entry(
        self, at: datetime, code: str, place: str, outcome: str = "pass", **readings: Value
    ) -> IncomingEntry:
        """Return the entry of a test."""
        position = self.places[place]
        return IncomingEntry(act="test", code=code, position=position, at=at, outcome=outcome, readings=readings)

    def action_entry(self, at: datetime, code: str, place: str) -> IncomingEntry:
        """Return the entry of an action."""
        return IncomingEntry(act="action", code=code, position=self.places[place], at=at)

    def compose_visit(
        self, kind: str, at: datetime, who: Iterable[UUID], entries: Iterable[IncomingEntry], **more: Any
    ) -> IncomingVisit:
        """Return a visit. Its id follows from boiler, kind and time, so posting it again adds nothing."""
        people = tuple(Person(user=w) for w in who)
        visit_id = uuid5(self.boiler.id, f"{kind} {at.isoformat()}")
        return IncomingVisit(
            visit_id, self.boiler.id, kind=kind, performed_at=at, entries=tuple(entries), people=people, **more
        )


def flush_entries(bench: VisitWriter, at: datetime) -> list[IncomingEntry]:
    """Return what the caretaker does every week: the float chamber flushed, the glass blown down, a look at the air."""
    glass = ("glass", "gauge_glass_blowdown", GOOD_BLOWDOWN), ("air", "combustion_air_check", {"open": True})
    others = [bench.test_entry(at, code, ref, **shows) for ref, code, shows in glass if ref in bench.places]
    return [bench.test_entry(at, "flush", "upper", **GOOD_FLUSH), *others]


def yearly_service_entries(bench: VisitWriter, at: datetime, after_lift: str = "tight") -> list[IncomingEntry]:
    """Return tests as found, then cleaning of the chamber, then new proofs of what the cleaning touched."""
    siphons = [ref for ref in bench.places if ref.startswith("siphon")]
    return [
        bench.test_entry(at, "flush", "upper", **GOOD_FLUSH),
        *(bench.test_entry(at, "siphon_check", ref, passes_water=True) for ref in sorted(siphons)),
        bench.test_entry(at, "operating_control_trip", "control", trip_psi=1.6, cycles=3.0),
        _limit_trip_entry(bench, at),
        bench.test_entry(
            at, "slow_drain", "lower", burner_firing=True, burner_stopped=True, trip_in=1.5, locked_out=True
        ),
        bench.test_entry(at, "lever_lift", "valve", **{**GOOD_LIFT, "after_lift": after_lift}),
        *([bench.test_entry(at, "pop_test", "valve", **GOOD_POP)] if after_lift == "tight" else []),
        bench.action_entry(at, "open_clean", "chamber"),
        bench.test_entry(at, "chamber_open_inspect", "chamber", found_clean=True),
        bench.test_entry(at, "slow_drain", "upper", burner_firing=True, burner_stopped=True, trip_in=2.5),
        bench.test_entry(at, "flush", "upper", **GOOD_FLUSH),
        *_other_proofs(bench, at),
    ]


# Of every place beside cutoffs, chamber, siphons, control, limit and valve: its test, and what a good one shows.
_FIRED = {"burner_firing": True, "burner_stopped": True}
OTHER_PROOFS: tuple[tuple[str, str, Mapping[str, Any]], ...] = (
    ("control", "three_cycles", {"cycles": 3.0, "cut_out_seen": True, "cut_in_seen": True}),
    (
        "glass",
        "gauge_glass_inspect",
        {"readable": True, "cocks_turn_and_open": True, "water_returns": "prompt", "tight": True},
    ),
    ("glass", "gauge_glass_blowdown", GOOD_BLOWDOWN),
    ("feeder", "feeder_check", {"feeds_when_low": True, "stops_at_line": True, "tight_when_off": True}),
    ("gauge", "gauge_comparison", {"test_gauge_psi": 6.0, "difference_psi": 0.0, "at_zero_open": True}),
    (
        "safeguard",
        "flame_failure_test",
        {"burner_firing": True, "fuel_shut": True, "seconds_to_shut": 3.0, "locked_out": True},
    ),
    ("fuel", "fuel_valve_closure", {"burner_firing": True, "closed": True, "flame_out": True}),
    ("fuel", "fuel_valve_leak_test", {"within_makers_limit": True}),
    ("circuit", "limit_circuit_trip", {**_FIRED, "switch_opened": True, "fuel_shut": True}),
    ("spill", "spill_switch_trip", {**_FIRED, "stayed_out_until_reset": True}),
    ("air-proving", "air_proving_trip", _FIRED),
    ("gas-low", "gas_pressure_low_trip", {**_FIRED, "setting_read_back": True}),
    ("gas-high", "gas_pressure_high_trip", {**_FIRED, "setting_read_back": True}),
    ("burner", "soap_test", {"bubbles": False, "smell": False}),
    (
        "burner",
        "combustion_test",
        {
            "burner_firing": True,
            "o2_pct": 6.0,
            "co_ppm": 18.0,
            "co_trend": "steady",
            "stack_f": 395.0,
            "room_f": 72.0,
            "ambient_co_ppm": 1.0,
        },
    ),
    ("burner", "normal_restart", {"lit_by_its_controls": True, "lit_smoothly": True, "stopped_by_its_control": True}),
    ("air", "combustion_air_check", {"open": True}),
    ("alarm", "co_alarm_test", {"sounds": True, "in_date": True}),
)


def _other_proofs(bench: VisitWriter, at: datetime) -> list[IncomingEntry]:
    """Return the good tests of all other places that this boiler has."""
    return [bench.test_entry(at, code, ref, **shows) for ref, code, shows in OTHER_PROOFS if ref in bench.places]


def _limit_trip_entry(bench: VisitWriter, at: datetime) -> IncomingEntry:
    return bench.test_entry(
        at,
        "limit_trip",
        "limit",
        trip_psi=7.9,
        stayed_off_minutes=4.0,
        psi_when_checked=2.0,
        call_on=True,
        restarted_by_hand=True,
        set_psi_read_back=8.0,
    )


def combustion_entries(bench: VisitWriter, at: datetime, o2_pct: float, stack_f: float) -> list[IncomingEntry]:
    """Return a combustion test of a clean flame: oxygen in %, stack in F."""
    flue: dict[str, Any] = {"o2_pct": o2_pct, "co_ppm": 18.0, "co_trend": "steady", "stack_f": stack_f, "room_f": 72.0}
    return [bench.test_entry(at, "combustion_test", "burner", burner_firing=True, ambient_co_ppm=1.0, **flue)]


def meter_entries(bench: VisitWriter, at: datetime, reading: float) -> list[IncomingEntry]:
    """Return a reading of the make-up meter in gal."""
    return [bench.test_entry(at, "meter_reading", "meter", reading=reading, stands_still_without_feed=True)]


def plugged_siphon_entries(bench: VisitWriter, at: datetime) -> list[IncomingEntry]:
    """Return a no-heat call that finds the siphon plugged and has no part for it."""
    siphon = min(ref for ref in bench.places if ref.startswith("siphon"))
    return [
        IncomingEntry(act="observe", code="lockout_found", position=bench.places["limit"], at=at),
        bench.test_entry(at, "siphon_check", siphon, "fail", passes_water=False),
        bench.test_entry(at, "limit_trip", "limit", "not_done"),
    ]
