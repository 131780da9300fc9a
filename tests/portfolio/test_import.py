"""What importing a sheet does to the register: facts are added, names are edited, nothing is deleted."""

from datetime import UTC, datetime

import pytest

from fleet import pipeline
from fleet.board.models import Change, Pulse
from fleet.evidence import gather_evidence
from fleet.portfolio.models import Boiler, Building, Device, Fitting, Portfolio, Position, Setting
from fleet.records.events import Cause
from fleet.sheets.apply_sheet import ImportSummary
from fleet.sheets.register_sheet import parse_sheet
from tests.cast import DAY, NOW, Fleet, register
from tests.portfolio.sheets import CATALOGUE

pytestmark = pytest.mark.django_db


def imported(fleet: Fleet, *changes: tuple[str, str], at: datetime = NOW, drop: str = "") -> ImportSummary:
    """Import the rows of Alder Terrace with texts swapped, and without the rows that hold `drop`."""
    lines = [
        line for line in register().splitlines() if line.startswith(("building_ref", "ALD12")) and not _has(line, drop)
    ]
    text = "\n".join(lines)
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    rows = parse_sheet(text, CATALOGUE)
    return pipeline.change_register(portfolio=fleet.portfolio, rows=rows, at=at, cause=Cause(who="office"))


def _has(line: str, drop: str) -> bool:
    return bool(drop) and drop in line


def rows() -> dict[str, int]:
    return {m.__name__: m.objects.count() for m in (Building, Boiler, Position, Device, Fitting, Setting)}


def settings(fleet: Fleet, ref: str, key: str) -> list[tuple[object, datetime]]:
    """The dated values of one position, oldest first."""
    found = Setting.objects.filter(position=fleet.bench().places[ref], key=key).order_by("since")
    return [(s.value, s.since) for s in found]


def test_the_same_sheet_again_adds_nothing(fleet: Fleet) -> None:
    before = rows()
    report = imported(fleet)
    assert (report.added, report.touched) == ({}, set())
    assert rows() == before


def test_the_same_sheet_again_is_no_news(fleet: Fleet) -> None:
    before = Change.objects.count(), list(Pulse.objects.values())
    imported(fleet)
    assert (Change.objects.count(), list(Pulse.objects.values())) == before


def test_the_same_sheet_in_another_order_adds_nothing(fleet: Fleet) -> None:
    lines = [line for line in register().splitlines() if line.startswith("ALD12")]
    text = "\n".join([register().splitlines()[0], *reversed(lines)])
    report = pipeline.change_register(
        portfolio=fleet.portfolio, rows=parse_sheet(text, CATALOGUE), at=NOW, cause=Cause(who="office")
    )
    assert report.added == {}


def test_a_rename_edits_the_name_and_is_not_new(fleet: Fleet) -> None:
    before = rows()
    report = imported(fleet, ("Boiler 1", "North boiler"), ("12 Alder Terrace", "12-14 Alder Terrace"))
    assert (report.added, rows()) == ({}, before)
    assert str(fleet.bench().boiler) == "North boiler"
    assert Building.objects.get(ref="ALD12").address == "12-14 Alder Terrace"


def test_a_position_renamed_stays_the_same_position(fleet: Fleet) -> None:
    place = fleet.bench().places["limit"]
    imported(fleet, (",high limit,", ",limit on the left,"))
    assert Position.objects.get(id=place).name == "limit on the left"


def test_a_missing_row_is_not_deleted(fleet: Fleet) -> None:
    before = rows()
    report = imported(fleet, drop=",safety valve,")
    assert (report.added, rows()) == ({}, before)


def test_a_new_boiler_is_added_beside_the_others(fleet: Fleet) -> None:
    report = imported(fleet, (",B2,Boiler 2,", ",B3,Boiler 3,"))
    assert report.added["boilers"] == 1
    assert report.added["positions"] == 8
    assert report.added["devices"] == 8
    assert Boiler.objects.count() == 3


def test_another_device_is_a_new_fitting_from_its_date_on(fleet: Fleet) -> None:
    old = "limit_control,2019-10-01"
    assert imported(fleet, (old, "limit_control,2025-06-01")).added["devices"] == 2
    newest = Fitting.objects.filter(position=fleet.bench().places["limit"]).latest("since")
    assert newest.since == datetime(2025, 6, 1, 4, tzinfo=UTC)


def test_a_changed_output_is_a_dated_setting_and_the_old_one_stays(fleet: Fleet) -> None:
    imported(fleet, ("1100000", "900000"))
    found = Setting.objects.filter(boiler=fleet.bench().boiler, key="output_btu_h").order_by("since")
    assert list(found.values_list("value", "since"))[1:] == [(900000.0, NOW)]
    assert found[0].value == 1100000.0


def test_a_changed_set_point_is_a_dated_setting(fleet: Fleet) -> None:
    imported(fleet, ("limit_control,2019-10-01,8", "limit_control,2019-10-01,9"))
    assert (9.0, NOW) in settings(fleet, "limit", "set_psi")


def test_changed_paths_are_a_dated_setting(fleet: Fleet) -> None:
    report = imported(fleet, ("high_limit,siphon-2", "high_limit,siphon-1"))
    assert report.added == {"settings": 2}
    assert settings(fleet, "limit", "paths")[-1] == ([str(fleet.bench().places["siphon-1"])], NOW)


def test_what_was_known_before_the_import_can_still_be_read(fleet: Fleet) -> None:
    before = gather_evidence(fleet.bench().boiler.id, NOW)[0].settings
    imported(fleet, ("high_limit,siphon-2", "high_limit,siphon-1"))
    after = gather_evidence(fleet.bench().boiler.id, NOW)[0].settings
    assert set(map(repr, before)) < set(map(repr, after))


def test_an_import_is_judged_in_the_same_breath(fleet: Fleet) -> None:
    fleet.post(fleet.serviced(NOW - 30 * DAY), at=NOW - 30 * DAY)
    before = Pulse.objects.get().version
    imported(fleet, ("limit_control,2019-10-01", "limit_control,2025-12-25"))
    assert Pulse.objects.get().version > before


def test_the_same_refs_in_another_portfolio_are_other_things(fleet: Fleet) -> None:
    before = rows()
    other = Portfolio.objects.create(ref="ELSE", name="Elsewhere Homes")
    lines = [line for line in register().splitlines() if line.startswith(("building_ref", "ALD12"))]
    pipeline.change_register(
        portfolio=other, rows=parse_sheet("\n".join(lines), CATALOGUE), at=NOW, cause=Cause(who="office")
    )
    assert rows() == {name: 2 * count for name, count in before.items()}


def test_the_second_import_of_a_changed_sheet_adds_nothing_more(fleet: Fleet) -> None:
    change = ("high_limit,siphon-2", "high_limit,siphon-1")
    imported(fleet, change)
    assert imported(fleet, change, at=NOW + DAY).added == {}
