"""What a sheet does against a register that has moved on: older and newer devices, values set for later days."""

from datetime import timedelta
from typing import Any

import pytest

from fleet import pipeline
from fleet.portfolio.models import Fitting, Position, Setting
from fleet.records.events import Cause
from fleet.sheets.import_plan import PlanLine
from fleet.sheets.plan import plan_import
from fleet.sheets.register_sheet import parse_sheet
from fleet.sheets.register_snapshot import RegisterSnapshot
from tests.cast import DAY, NOW, Fleet
from tests.portfolio.sheets import CATALOGUE, LIMIT, row, sheet

pytestmark = pytest.mark.django_db
CAUSE = Cause(who="office")
NEW = {"building_ref": "NEW1", "address": "1 New Lane"}
OLD = {**LIMIT, **NEW}
LATER = {**OLD, "fitted_on": "2025-06-01", "set_psi": "10"}


def imported(fleet: Fleet, *rows: dict[str, str], at: Any = NOW) -> dict[str, int]:
    read = parse_sheet(sheet(*(row(**r) for r in rows)), CATALOGUE)
    return pipeline.change_register(portfolio=fleet.portfolio, rows=read, at=at, cause=CAUSE).added


def lines(fleet: Fleet, *rows: dict[str, str], at: Any = NOW) -> list[PlanLine]:
    read = parse_sheet(sheet(*(row(**r) for r in rows)), CATALOGUE)
    return plan_import(
        portfolio=fleet.portfolio, register=RegisterSnapshot.for_sheet(fleet.portfolio, read, at), rows=read, at=at
    ).lines


@pytest.fixture
def limit(fleet: Fleet) -> Position:
    imported(fleet, OLD, at=NOW - 100 * DAY)
    return Position.objects.get(boiler__building__ref="NEW1", ref="limit")


def set_to(limit: Position, value: float, since: Any) -> None:
    values = {"key": "set_psi", "value": value, "since": since, "posted_at": NOW - DAY}
    Setting.objects.create(portfolio_id=limit.portfolio_id, position=limit, **values)


def test_an_older_sheet_leaves_the_newer_device_and_its_values_alone(fleet: Fleet, limit: Position) -> None:
    imported(fleet, LATER, at=NOW - DAY)
    (line,) = lines(fleet, OLD)
    assert (line.does, len(line.notes)) == ([], 1)


def test_a_newer_device_starts_with_what_is_stamped_on_it(fleet: Fleet, limit: Position) -> None:
    set_to(limit, 9.0, NOW - 400 * DAY)
    assert imported(fleet, LATER) == {"devices": 1}
    assert imported(fleet, LATER, at=NOW + DAY) == {}


def test_a_value_set_after_it_was_fitted_counts_against_the_sheet(fleet: Fleet, limit: Position) -> None:
    set_to(limit, 9.0, NOW - 10 * DAY)
    assert imported(fleet, LATER) == {"devices": 1, "settings": 1}
    assert imported(fleet, LATER, at=NOW + DAY) == {}


def test_a_device_from_before_the_present_one_is_added_to_the_past(fleet: Fleet, limit: Position) -> None:
    imported(fleet, LATER, at=NOW - DAY)
    assert imported(fleet, {**OLD, "fitted_on": "2022-01-01", "set_psi": "7"}) == {"devices": 1}
    assert Fitting.objects.filter(position=limit).latest("since").since.year == 2025


@pytest.mark.parametrize(("days", "does"), [(-1, 1), (0, 1), (1, 0)])
def test_a_value_set_for_a_later_day_is_not_undone_by_a_sheet(
    days: int, does: int, fleet: Fleet, limit: Position
) -> None:
    set_to(limit, 9.0, NOW + timedelta(days=days))
    assert len(lines(fleet, OLD)[0].does) == does


@pytest.mark.parametrize(("hours", "said"), [(-1, 0), (0, 1), (1, 1)])
def test_what_is_on_record_counts_from_its_instant(hours: int, said: int, fleet: Fleet, limit: Position) -> None:
    set_to(limit, 9.0, NOW)
    assert len(lines(fleet, OLD, at=NOW + timedelta(hours=hours))[0].does) == said


def test_two_boilers_with_the_same_refs_are_two(fleet: Fleet, limit: Position) -> None:
    added = imported(fleet, OLD, {**OLD, "boiler_ref": "B2"})
    assert added == {"boilers": 1, "positions": 1, "devices": 1, "settings": 2}
