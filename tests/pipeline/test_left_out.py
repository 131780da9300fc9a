"""Places that the office leaves out of a register, and leaves in again, under the table of needed roles."""

from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest

from fleet import pipeline
from fleet.catalog import queries as catalog
from fleet.catalog.services import load_release
from fleet.errors import Refused
from fleet.portfolio.models import Boiler, Portfolio, Position, Setting
from fleet.records.events import Cause
from fleet.sheets.columns import as_text
from fleet.sheets.register_sheet import parse_sheet
from fleet.sheets.register_views import read_boiler_view
from tests import kept
from tests.cast import LONG_AGO, NOW, ROOT, shipped_catalogue

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)
REASON = "No dwelling opens on the room; the owner, 12 Sep 2025."


@pytest.fixture
def boiler() -> Iterator[Boiler]:
    """Alder Terrace's first boiler as the demonstration's sheet has it, with everything that it needs."""
    with shipped_catalogue() as folder:
        kept.once("shipped catalogue", lambda: load_release(folder=folder, at=LONG_AGO))
        portfolio = Portfolio.objects.create(ref="ALDER", name="Alder")
        sheet = (ROOT / "fixtures" / "demo" / "register.csv").read_text()
        rows = [r for r in parse_sheet(sheet, catalog.catalogue_of(1)) if r.boiler_key == ("ALD12", "B1")]
        pipeline.change_register(portfolio=portfolio, rows=rows, at=NOW, cause=Cause(who="office"))
        yield Boiler.objects.get()


def set_value(boiler: Boiler, ref: str, key: str, text: str, was: str = "", **more: Any) -> None:
    at = more.pop("at", NOW)
    fields = {"key": key, "text": text, "was": was, "day": f"{at:%Y-%m-%d}", "at": at, "cause": Cause(who="office")}
    pipeline.set_value(boiler=boiler, position=Position.objects.get(ref=ref), **fields)


def leave_out(boiler: Boiler, ref: str, **more: Any) -> None:
    set_value(boiler, ref, "not_needed_because", REASON, **more)


def add_place(boiler: Boiler, ref: str, role: str, **more: str) -> None:
    cells = {"position_ref": ref, "position_name": ref, "role": role, **more}
    scope = pipeline.EditScope(boiler.building, boiler.ref)
    pipeline.add_cells(scope=scope, cells=cells, at=NOW, cause=Cause(who="office"))


def rename(boiler: Boiler, name: str) -> None:
    cells = {"boiler_name": name}
    scope, was = pipeline.EditScope(boiler.building, boiler.ref), {"boiler_name": boiler.name}
    pipeline.edit_cells(scope=scope, was=was, cells=cells, at=NOW, cause=Cause(who="office"))


def refused_codes(boiler: Boiler, ref: str, **more: Any) -> list[str]:
    with pytest.raises(Refused) as refused:
        leave_out(boiler, ref, **more)
    return [f.code for f in refused.value.faults]


def reason_shown(boiler: Boiler, ref: str, days: int) -> str:
    at = NOW + days * DAY
    places = read_boiler_view(boiler, catalog.catalogue_at(at), at).places
    return next(p.not_needed_because for p in places if p.place.ref == ref)


def test_a_place_is_left_out_with_its_reason_asked_for_again_and_left_out_anew(boiler: Boiler) -> None:
    shown = []
    for days in (1, 3):
        leave_out(boiler, "alarm", at=NOW + days * DAY)
        shown.append(reason_shown(boiler, "alarm", days))
        set_value(boiler, "alarm", "needed", "yes", was=as_text(False), at=NOW + (days + 1) * DAY)
        shown.append(reason_shown(boiler, "alarm", days + 1))
    assert shown == [REASON, "", REASON, ""]


@pytest.mark.parametrize("days", [1, 3])
def test_a_reason_that_is_on_record_is_not_said_twice(boiler: Boiler, days: int) -> None:
    leave_out(boiler, "alarm", at=NOW + DAY)
    assert refused_codes(boiler, "alarm", was=REASON, at=NOW + days * DAY) == ["nothing_new"]


@pytest.mark.parametrize(
    "ref",
    ["valve", "limit", "glass", "gauge", "control", "upper", "lower", "burner", "circuit", "safeguard", "fuel"],
)
def test_what_every_such_boiler_needs_is_not_left_out(boiler: Boiler, ref: str) -> None:
    assert refused_codes(boiler, ref) == ["always_needed"]


def test_one_of_two_valves_is_left_out_and_the_other_stays_needed(boiler: Boiler) -> None:
    add_place(boiler, "second-valve", "safety_valve")
    leave_out(boiler, "second-valve")
    assert refused_codes(boiler, "valve") == ["always_needed"]


@pytest.mark.parametrize(("cutoffs", "codes"), [(1, []), (2, ["always_needed"])])
def test_an_upper_cutoff_is_left_out_only_where_one_cutoff_is_enough(
    boiler: Boiler, cutoffs: int, codes: list[str]
) -> None:
    old = {"portfolio": boiler.portfolio, "since": boiler.since, "posted_at": NOW}
    Setting.objects.create(boiler=boiler, key="cutoffs_needed", value=cutoffs, **old)
    if codes:
        assert refused_codes(boiler, "upper") == codes
    else:
        leave_out(boiler, "upper")
        assert reason_shown(boiler, "upper", 0) == REASON


def test_a_register_that_an_earlier_release_let_through_is_edited_as_before(boiler: Boiler) -> None:
    old = {"portfolio": boiler.portfolio, "since": boiler.since, "posted_at": NOW}
    for ref in ("alarm", "limit"):
        Setting.objects.create(position=Position.objects.get(ref=ref), key="needed", value=False, **old)
    Setting.objects.create(boiler=boiler, key="cutoffs_needed", value=1, **old)
    settings_before = Setting.objects.count()
    rename(boiler, "North boiler")
    boiler.refresh_from_db()
    assert (boiler.name, Setting.objects.count()) == ("North boiler", settings_before)


def test_a_new_place_beside_an_old_exemption_still_needs_its_own_reason(boiler: Boiler) -> None:
    old = {"portfolio": boiler.portfolio, "since": boiler.since, "posted_at": NOW}
    Setting.objects.create(position=Position.objects.get(ref="alarm"), key="needed", value=False, **old)
    with pytest.raises(Refused) as refused:
        add_place(boiler, "hall-alarm", "co_alarm", needed="no")
    assert [(f.code, f.at) for f in refused.value.faults] == [("empty", ("not_needed_because",))]
