"""A sheet against the register: what is fixed is refused with its place, a new name is told, a circle is found."""

from typing import Any

import pytest

from fleet import pipeline
from fleet.board.models import Change, Pulse
from fleet.errors import Refused
from fleet.portfolio.models import Boiler, Building, Position, Setting
from fleet.records.events import Cause
from fleet.sheets.apply_sheet import ImportSummary
from fleet.sheets.register_sheet import parse_sheet
from tests.cast import NOW, Fleet
from tests.portfolio.sheets import CATALOGUE, LIMIT, cell, row, sheet

pytestmark = pytest.mark.django_db
OFFICE = Cause(who="office", request_id="sheet-00001")
CONTROL = {"role": "operating_control", "kind": "operating_control", "set_psi": ""}


def imported(fleet: Fleet, *rows: str) -> ImportSummary:
    text = sheet(*rows)
    return pipeline.change_register(portfolio=fleet.portfolio, rows=parse_sheet(text, CATALOGUE), at=NOW, cause=OFFICE)


@pytest.fixture
def register(fleet: Fleet) -> Fleet:
    """A small building of its own, as its sheet says."""
    imported(fleet, new(), new(**LIMIT))
    return fleet


def new(**more: str) -> str:
    return row(**{"building_ref": "NEW1", "address": "1 New Lane", **more})


def refused(fleet: Fleet, *rows: str) -> list[tuple[str, Any]]:
    with pytest.raises(Refused) as caught:
        imported(fleet, *rows)
    assert caught.value.status == 422
    return [(f.code, f.at) for f in caught.value.faults]


@pytest.mark.parametrize(
    ("column", "value", "code"),
    [
        ("zone", "America/Chicago", "zone_fixed"),
        ("since", "2019-10-02", "since_fixed"),
        ("role", "siphon", "role_fixed"),
    ],
)
def test_what_is_fixed_is_refused_in_its_cell(register: Fleet, column: str, value: str, code: str) -> None:
    changed = {column: value, **({"kind": "siphon"} if column == "role" else {})}
    assert refused(register, new(**changed)) == [(code, (2, column))]


def test_all_such_cells_are_told_at_once_and_nothing_of_the_sheet_is_kept(register: Fleet) -> None:
    before = (Building.objects.count(), Pulse.objects.get().version)
    rows = [
        new(since="2019-11-01"),
        new(**{**LIMIT, **CONTROL, "since": "2019-11-01"}),
        row(building_ref="OTHER", address="2 New Lane"),
    ]
    assert refused(register, *rows) == [
        ("since_fixed", (2, "since")),
        ("role_fixed", (3, "role")),
        ("since_fixed", (3, "since")),
    ]
    assert (Building.objects.count(), Pulse.objects.get().version) == before


def changes() -> list[tuple[str, str, str, Any]]:
    found = Change.objects.filter(kind="register.renamed").order_by("version", "number")
    return list(found.values_list("before", "after", "request_id", "boiler"))


def test_a_boilers_new_name_is_a_change_and_stands_in_what_is_concluded(register: Fleet) -> None:
    before = Pulse.objects.get().version
    imported(register, new(boiler_name="North boiler"), new(**LIMIT, boiler_name="North boiler"))
    boiler = Boiler.objects.get(building__ref="NEW1")
    assert changes() == [("Boiler 1", "North boiler", "sheet-00001", boiler.id)]
    assert (Pulse.objects.get().version, pipeline.rebuild(at=NOW)) == (before + 1, 0)


def test_a_positions_new_name_is_a_change_and_stands_in_what_is_concluded(register: Fleet) -> None:
    imported(register, new(position_name="chamber at the back"))
    assert [c[:2] for c in changes()] == [("float chamber", "chamber at the back")]
    assert pipeline.rebuild(at=NOW) == 0


def test_a_buildings_new_address_and_units_are_changes_of_the_portfolio(register: Fleet) -> None:
    before = Pulse.objects.get().version
    imported(
        register, new(address="1 New Lane (rear)", units="32"), new(**LIMIT, address="1 New Lane (rear)", units="32")
    )
    assert [(c[0], c[1], c[3]) for c in changes()] == [("1 New Lane", "1 New Lane (rear)", None), ("31", "32", None)]
    assert Pulse.objects.get().version == before + 1


def test_a_long_name_is_whole_in_the_sentence_and_short_beside_it(register: Fleet) -> None:
    name = "the boiler in the second cellar behind the laundry"
    imported(register, new(boiler_name=name), new(**LIMIT, boiler_name=name))
    change = Change.objects.get(kind="register.renamed")
    assert len(change.after) == 32
    assert name in change.sentence


def test_the_same_sheet_again_is_neither_refused_nor_news(register: Fleet) -> None:
    before = (Pulse.objects.get().version, Change.objects.count())
    imported(register, new(), new(**LIMIT))
    assert (Pulse.objects.get().version, Change.objects.count()) == before


def test_a_path_that_closes_a_circle_with_one_on_record_is_refused(fleet: Fleet) -> None:
    siphons = [{"ref": f"siphon-{n}", "role": "siphon", "kind": "siphon"} for n in (1, 2)]
    first = [new(**siphons[0], hangs_on="siphon-2"), new(**siphons[1])]
    imported(fleet, *first)
    place = Position.objects.get(boiler__building__ref="NEW1", ref="siphon-1")
    assert Setting.objects.filter(position=place, key="paths").exists()
    again = [new(**siphons[0]), new(**siphons[1], hangs_on="siphon-1")]
    assert refused(fleet, *again) == [("path_loops", (3, cell("hangs_on")))]
