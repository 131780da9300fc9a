"""Access hours: read strictly, asked in the building's own time, set by the sheet."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from fleet import pipeline
from fleet.board.models import Change
from fleet.portfolio.access import access_hours_fault, is_accessible, parse_access_hours
from fleet.portfolio.models import Building
from fleet.records.events import Cause
from fleet.sheets.register_sheet import parse_sheet
from tests.cast import NOW, Fleet, register
from tests.portfolio.sheets import CATALOGUE

HOURS = "mon-fri 08:00-12:00,13:00-17:00; sat 09:00-24:00"
ZONE = "America/New_York"
MINUTE = timedelta(minutes=1)


def test_days_and_windows_are_read() -> None:
    week = parse_access_hours(HOURS)
    assert [week.get(day) for day in (0, 4, 5, 6)] == [
        ((480, 720), (780, 1020)),
        ((480, 720), (780, 1020)),
        ((540, 1440),),
        None,
    ]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("mon", "must be written like"),
        ("Mon 08:00-12:00", "must be written like"),
        ("mon 8:00-12:00", "must be written like"),
        ("mon 08:00-12:00;tue 08:00-12:00", "must be written like"),
        ("mon  08:00-12:00", "must be written like"),
        ("mon ٠٨:00-12:00", "must be written like"),
        ("day 08:00-12:00", "is not a weekday"),
        ("fri-mon 08:00-12:00", "runs backwards"),
        ("mon-mon 08:00-12:00", "runs backwards"),
        ("mon-wed 08:00-12:00; tue 13:00-14:00", "tue is named twice"),
        ("mon 12:00-08:00", "is not later than"),
        ("mon 08:00-08:00", "is not later than"),
        ("mon 08:00-12:00,11:00-13:00", "is not later than"),
        ("mon 08:60-12:00", "not a time of day"),
        ("mon 08:00-24:01", "not a time of day"),
        ("mon 08:00-12:00; ", "must be written like"),
    ],
)
def test_everything_else_is_refused_with_a_sentence(text: str, said: str) -> None:
    assert said in (access_hours_fault(text) or "")


@pytest.mark.parametrize(
    ("begin", "minutes", "inside"),
    [
        ("2026-01-12T07:59", 60, False),  # a Monday
        ("2026-01-12T08:00", 240, True),
        ("2026-01-12T08:00", 241, False),  # over noon
        ("2026-01-12T12:30", 60, False),
        ("2026-01-12T16:00", 60, True),
        ("2026-01-17T23:00", 60, True),  # to the end of the Saturday
        ("2026-01-17T23:00", 61, False),
        ("2026-01-18T10:00", 60, False),  # a Sunday
        ("2026-07-13T08:00", 60, True),  # in summer time
    ],
)
def test_a_stay_lies_within_one_window_of_the_buildings_day(begin: str, minutes: int, inside: bool) -> None:
    offset = "-04:00" if begin.startswith("2026-07") else "-05:00"
    since = datetime.fromisoformat(f"{begin}:00{offset}").astimezone(UTC)
    assert is_accessible(HOURS, ZONE, since, since + minutes * MINUTE) is inside


def test_nothing_written_is_no_restriction() -> None:
    assert is_accessible("", ZONE, NOW, NOW + timedelta(hours=9))


def sheet(hours: str) -> str:
    head, *lines = register().splitlines()
    own = [line for line in lines if line.startswith("ALD12")]
    return "\n".join([f"{head},access_hours", *(f'{line},"{hours}"' for line in own)])


def imported(fleet: Fleet, text: str) -> Any:
    rows = parse_sheet(text, CATALOGUE)
    return pipeline.change_register(portfolio=fleet.portfolio, rows=rows, at=NOW, cause=Cause(who="office"))


@pytest.mark.django_db
def test_the_sheet_sets_them_and_says_so(fleet: Fleet) -> None:
    imported(fleet, sheet(HOURS))
    assert Building.objects.get().access_hours == HOURS
    assert Change.objects.filter(kind="register.renamed", sentence__contains=HOURS).count() == 1


@pytest.mark.django_db
def test_a_sheet_without_the_column_leaves_them_and_an_empty_cell_takes_them_away(fleet: Fleet) -> None:
    imported(fleet, sheet(HOURS))
    own = [line for line in register().splitlines() if line.startswith(("building_ref", "ALD12"))]
    imported(fleet, "\n".join(own))
    kept = Building.objects.get().access_hours
    imported(fleet, sheet(""))
    assert (kept, Building.objects.get().access_hours) == (HOURS, "")


def test_a_cell_that_cannot_be_read_is_refused_in_its_place() -> None:
    from tests.portfolio.sheets import CELLS, faults

    text = "".join(f"{line}\n" for line in (f"{','.join(CELLS)},access_hours", f"{','.join(CELLS.values())},always"))
    assert faults(text) == [("not_access_hours", (2, "access_hours"))]
