"""Changing the register: names are edited, everything that counts as evidence is only added."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any
from uuid import UUID, uuid5

from fleet.calendar import day_start
from fleet.portfolio.models import Boiler, Building, Device, Fitting, Portfolio, Position, Setting
from fleet.portfolio.sheet import SheetRow


@dataclass(slots=True)
class Report:
    """What an import did: counts by what, and the boilers whose evidence changed."""

    added: dict[str, int] = field(default_factory=dict)
    touched: set[UUID] = field(default_factory=set)

    def count(self, what: str, boiler: UUID) -> None:
        """Note one addition."""
        self.added[what] = self.added.get(what, 0) + 1
        self.touched.add(boiler)


def apply_sheet(*, portfolio: Portfolio, rows: Sequence[SheetRow], at: datetime) -> Report:
    """Add what the rows say and the register lacks. Natural keys: a rename is not new, a missing row is not deleted.

    Ids follow from the natural keys, so the same sheet read into two installations names the same things.
    """
    report = Report()
    positions: dict[tuple[str, str, str], Position] = {}
    for row in rows:
        boiler = _boiler(portfolio, row, report, at)
        position = _position(boiler, row, report)
        positions[(*row.boiler_key, row.position_ref)] = position
        if not _device(boiler, position, row, report, at):
            _changed_values(position, row, report, at)
    for row in rows:
        boiler_position = positions[(*row.boiler_key, row.position_ref)]
        paths = [str(positions[(*row.boiler_key, ref)].id) for ref in row.hangs_on]
        if paths:
            _setting(report, boiler_position, "paths", paths, day_start(row.since, row.zone), at)
    return report


def _boiler(portfolio: Portfolio, row: SheetRow, report: Report, at: datetime) -> Boiler:
    building, _ = Building.objects.update_or_create(
        portfolio=portfolio,
        ref=row.building_ref,
        defaults={"address": row.address, "units": row.units, **_hours(row)},
        create_defaults={
            "id": uuid5(portfolio.id, f"building {row.building_ref}"),
            "address": row.address,
            "units": row.units,
            "zone": row.zone,
            **_hours(row),
        },
    )
    since = day_start(row.since, row.zone)
    boiler, created = Boiler.objects.update_or_create(
        building=building,
        ref=row.boiler_ref,
        defaults={"name": row.boiler_name},
        create_defaults={
            "id": uuid5(building.id, f"boiler {row.boiler_ref}"),
            "portfolio": portfolio,
            "name": row.boiler_name,
            "since": since,
        },
    )
    if created:
        report.count("boilers", boiler.id)
    for key, value in row.on_boiler:
        _setting(report, boiler, key, value, since, at)
    return boiler


def _hours(row: SheetRow) -> dict[str, str]:
    return {} if row.access_hours is None else {"access_hours": row.access_hours}


def _position(boiler: Boiler, row: SheetRow, report: Report) -> Position:
    position, created = Position.objects.update_or_create(
        boiler=boiler,
        ref=row.position_ref,
        defaults={"name": row.position_name},
        create_defaults={
            "id": uuid5(boiler.id, f"position {row.position_ref}"),
            "portfolio_id": boiler.portfolio_id,
            "name": row.position_name,
            "role_id": row.role,
        },
    )
    if created:
        report.count("positions", boiler.id)
    return position


def _device(boiler: Boiler, position: Position, row: SheetRow, report: Report, at: datetime) -> bool:
    """Fit the device unless this very one is on record already (same kind, same date); return whether it was new."""
    if not row.kind:
        return False
    since = _fitted(row)
    if Fitting.objects.filter(position=position, since=since, device__kind=row.kind).exists():
        return False
    device = Device.objects.create(portfolio_id=boiler.portfolio_id, kind_id=row.kind, attributes=dict(row.attributes))
    Fitting.objects.create(
        portfolio_id=boiler.portfolio_id, position=position, device=device, since=since, posted_at=at
    )
    report.count("devices", boiler.id)
    return True


def _changed_values(position: Position, row: SheetRow, report: Report, at: datetime) -> None:
    """A value that differs from what is stamped or was set last is a dated setting, from now on."""
    fitting = Fitting.objects.filter(position=position, device__isnull=False).order_by("-since", "-posted_at").first()
    stamped = fitting.device.attributes if fitting and fitting.device else {}
    for name, value in row.attributes:
        newest = Setting.objects.filter(position=position, key=name).order_by("-since", "-posted_at").first()
        if value != (newest.value if newest else stamped.get(name)):
            _setting(report, position, name, value, at, at)


def _fitted(row: SheetRow) -> datetime:
    day: date = row.fitted_on or row.since
    return day_start(day, row.zone)


def _setting(report: Report, of: Boiler | Position, key: str, value: Any, first: datetime, at: datetime) -> None:
    """Add a dated value where it differs from the newest one; the first of its kind holds from the beginning."""
    place = {"boiler": of} if isinstance(of, Boiler) else {"position": of}
    newest = Setting.objects.filter(**place, key=key).order_by("-since", "-posted_at").first()
    if newest is not None and newest.value == value:
        return
    since = at if newest else first
    Setting.objects.create(portfolio_id=of.portfolio_id, **place, key=key, value=value, since=since, posted_at=at)
    boiler = of.id if isinstance(of, Boiler) else of.boiler_id
    assert boiler is not None
    report.count("settings", boiler)
