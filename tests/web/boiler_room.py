"""A boiler with a burner, a meter and a year of monthly readings, for the tests of its numbers."""

from datetime import datetime
from typing import Any

from fleet.management.demo.visit_entries import VisitWriter
from fleet.portfolio.models import Device, Fitting, Position, Setting
from fleet.visits.incoming import IncomingEntry, IncomingVisit
from tests.cast import DAY, LONG_AGO, Fleet

FLUE = {"burner_firing": True, "co_trend": "steady", "ambient_co_ppm": 2.0, "room_f": 70.0}
PLATE = 1_375_000.0
WATER = {"normal_line_in": 5.0, "water_surface_ft2": 20.0, "fuel": "natural_gas"}


def fit(fleet: Fleet, ref: str, role: str, kind: str, **stamped: Any) -> Position:
    """One more place on the boiler with a device in it."""
    boiler, more = fleet.bench().boiler, {"portfolio": fleet.portfolio}
    position = Position.objects.create(boiler=boiler, ref=ref, name=ref.replace("-", " "), role_id=role, **more)
    device = Device.objects.create(kind_id=kind, attributes=stamped, **more)
    Fitting.objects.create(position=position, device=device, since=LONG_AGO, posted_at=LONG_AGO, **more)
    return position


def put_down(fleet: Fleet, since: datetime = LONG_AGO, **values: Any) -> None:
    """Values of the boiler as a whole."""
    boiler = fleet.bench().boiler
    for key, value in values.items():
        row = {"boiler": boiler, "key": key, "value": value, "since": since, "posted_at": since}
        Setting.objects.create(portfolio=fleet.portfolio, **row)


def flue(bench: VisitWriter, at: datetime, **readings: Any) -> IncomingEntry:
    """A combustion test; readings given here replace the good ones."""
    good = {**FLUE, "o2_pct": 6.0, "co_ppm": 40.0, "stack_f": 390.0}
    return bench.test_entry(at, "combustion_test", "burner", **{**good, **readings})


def meter(bench: VisitWriter, at: datetime, value: float) -> IncomingEntry:
    return bench.test_entry(at, "meter_reading", "make-up-meter", reading=value)


def visits(fleet: Fleet, last: datetime, count: int = 12) -> list[IncomingVisit]:
    """A visit a month: flue gas with a stack growing hotter, the meter, the clock; the last month drinks a lot."""
    bench, found = fleet.bench(), []
    for n in range(count):
        at = last - (count - 1 - n) * 30 * DAY
        drunk = 120.0 * n + 4 * (n % 3) + (700.0 if n == count - 1 else 0.0)
        entries = [
            flue(bench, at, stack_f=370.0 + 6 * n, co_ppm=40.0 + 3 * n),
            bench.test_entry(at, "clock_input", "burner", input_btu_h=PLATE * (0.97 + 0.012 * n), seconds=30.0),
            meter(bench, at, 98_900.0 + drunk if drunk < 1_100 else drunk - 1_100),
        ]
        found.append(bench.compose_visit("routine_check", at, [fleet.technician.id], entries))
    return found


def equip(fleet: Fleet) -> None:
    """A burner with its plate and a meter of five wheels."""
    fit(fleet, "burner", "burner", "burner", input_btu_h=PLATE)
    fit(fleet, "make-up-meter", "makeup_meter", "makeup_meter", rolls_over_gal=100_000)
