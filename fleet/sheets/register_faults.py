"""The faults of a sheet against the register: cells that would change something fixed."""

from collections.abc import Iterator, Sequence
from datetime import datetime

from fleet.calendar import day_of
from fleet.errors import Fault
from fleet.portfolio.models import Portfolio
from fleet.sheets.columns import DECLARED_PREFIX
from fleet.sheets.register_sheet import SheetRow, find_path_circles
from fleet.sheets.register_snapshot import RegisterSnapshot


def fixed_cell_faults(
    portfolio: Portfolio, register: RegisterSnapshot, rows: Sequence[SheetRow], at: datetime
) -> Iterator[Fault]:
    """Yield a fault for each cell that differs from something fixed: evidence was judged by it.

    Fixed are portfolio, zone, the boiler's first day and a place's role. Declared days must not lie ahead of `at`.
    """
    for row in rows:
        if row.portfolio_ref not in ("", portfolio.ref):
            yield Fault("other_portfolio", f"This is the register of {portfolio.ref}.", (row.line, "portfolio_ref"))
        yield from _fixed_row_faults(register, row)
        for code, day in row.declared:
            if day > day_of(at, row.zone):
                yield Fault("not_yet", f"{day} is in the future.", (row.line, f"{DECLARED_PREFIX}{code}"))
    yield from _path_loop_faults(register, rows)


def _fixed_row_faults(register: RegisterSnapshot, row: SheetRow) -> Iterator[Fault]:
    building, boiler = register.buildings.get((row.building_ref,)), register.boilers.get(row.boiler_key)
    position = register.positions.get(row.key)
    if building and building.zone != row.zone:
        yield Fault("zone_fixed", f"This building's time zone is {building.zone}.", (row.line, "zone"))
    if boiler and building and day_of(boiler.since, building.zone) != row.since:
        message = f"The boiler has been on record since {day_of(boiler.since, building.zone).isoformat()}."
        yield Fault("since_fixed", message, (row.line, "since"))
    if position and position.role != row.role:
        message = f"This position is a {position.role}. For another role, add another position."
        yield Fault("role_fixed", message, (row.line, "role"))


def _path_loop_faults(register: RegisterSnapshot, rows: Sequence[SheetRow]) -> Iterator[Fault]:
    """Yield a fault for each path of this sheet that closes a circle with paths of the register."""
    names = {str(p.id): key for key, p in register.positions.items()}
    paths = {}
    for key, place in register.positions.items():
        paths_setting = register.settings.get((place.id, "paths"))
        paths[key] = [names[ref] for ref in paths_setting.value if ref in names] if paths_setting else []
    for row in rows:
        # An empty cell leaves a path on record as it is.
        if row.hangs_on:
            paths[row.key] = [(*row.boiler_key, ref) for ref in row.hangs_on]
    circle = find_path_circles(paths)
    for row in rows:
        if row.hangs_on and row.key in circle:
            yield Fault(
                "path_loops", "Together with what is on record, its path runs in a circle.", (row.line, "hangs_on")
            )
