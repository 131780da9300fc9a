"""Where a building stands: two columns of the register's sheet, in degrees."""

import pytest

from fleet import pipeline
from fleet.board.models import Change
from fleet.portfolio.models import Building
from fleet.records.events import Cause
from fleet.sheets.export import sheet_rows
from fleet.sheets.register_sheet import parse_sheet
from tests.cast import NOW, Fleet, register
from tests.portfolio.sheets import CATALOGUE, CELLS, faults

COLUMNS = ("latitude_deg", "longitude_deg")


def add_columns(latitude: str, longitude: str) -> str:
    head, *lines = [line for line in register().splitlines() if line.startswith(("building_ref", "ALD12"))]
    return "\n".join([f"{head},{','.join(COLUMNS)}", *(f"{line},{latitude},{longitude}" for line in lines)])


def import_text(fleet: Fleet, text: str) -> None:
    rows = parse_sheet(text, CATALOGUE)
    pipeline.change_register(portfolio=fleet.portfolio, rows=rows, at=NOW, cause=Cause(who="office"))


def stored_place() -> tuple[float | None, float | None]:
    building = Building.objects.get()
    return building.latitude_deg, building.longitude_deg


@pytest.mark.django_db
def test_a_building_has_no_place_until_a_sheet_says_it(fleet: Fleet) -> None:
    before = stored_place()
    import_text(fleet, add_columns("40.5212", "-74.0341"))
    assert (before, stored_place()) == ((None, None), (40.5212, -74.0341))
    told = Change.objects.filter(kind="register.renamed").values_list("sentence", flat=True)
    assert set(told) == {
        "12 Alder Terrace stands at 40.5212 degrees north.",
        "12 Alder Terrace stands at -74.0341 degrees east.",
    }


@pytest.mark.django_db
def test_the_exported_sheet_holds_the_place_and_reading_it_back_changes_nothing(fleet: Fleet) -> None:
    import_text(fleet, add_columns("40.5212", "-74.0341"))
    boilers = Building.objects.get().boilers.all()
    head, first, *_ = sheet_rows(portfolio=fleet.portfolio, boilers=boilers, catalogue=CATALOGUE, at=NOW)
    assert [first[head.index(column)] for column in COLUMNS] == [40.5212, -74.0341]
    count = Change.objects.count()
    import_text(fleet, add_columns("40.5212", "-74.0341"))
    assert Change.objects.count() == count


@pytest.mark.django_db
def test_an_empty_cell_leaves_the_place_as_it_is(fleet: Fleet) -> None:
    import_text(fleet, add_columns("40.5212", "-74.0341"))
    import_text(fleet, add_columns("", ""))
    assert stored_place() == (40.5212, -74.0341)


@pytest.mark.parametrize(
    ("column", "text", "refused"),
    [
        ("latitude_deg", "90", False),
        ("latitude_deg", "90.0001", True),
        ("latitude_deg", "-90.0001", True),
        ("longitude_deg", "-180", False),
        ("longitude_deg", "180.5", True),
        ("longitude_deg", "40 N", True),
    ],
)
def test_degrees_that_no_place_has_are_refused(column: str, text: str, refused: bool) -> None:
    lines = (f"{','.join(CELLS)},{column}", f"{','.join(CELLS.values())},{text}")
    wanted = [("not_a_number", (2, column))] if refused else []
    assert faults("".join(f"{line}\n" for line in lines)) == wanted
