"""Entries of typical visits: a flush, a yearly service, a no-heat call."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID, uuid5

from fleet.portfolio.models import Boiler, Position
from fleet.visits.incoming import IncomingEntry, IncomingVisit, Person

GOOD_FLUSH: dict[str, Any] = {
    "burner_firing": True,
    "water": "runs",
    "burner_stopped": True,
    "recovery": "prompt",
    "sediment": "clear",
}
GOOD_POP: dict[str, Any] = {"opens_psi": 15.0, "opened_sharply": True, "after_pop": "tight", "seal_intact": True}
GOOD_LIFT: dict[str, Any] = {"gauge_psi": 6.0, "lifted": True, "discharged": True, "after_lift": "tight"}
LEFT_WELL: Mapping[str, Any] = {
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

    def test_entry(self, at: datetime, code: str, place: str, outcome: str = "pass", **readings: Any) -> IncomingEntry:
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
    """Return the weekly flush of the float chamber."""
    return [bench.test_entry(at, "flush", "upper", **GOOD_FLUSH)]


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
    ]


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
