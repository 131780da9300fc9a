"""The report of an import says what a boiler's register will still leave out, before anybody saves it."""

from collections.abc import Iterator
from typing import Any

import pytest

from fleet import pipeline
from fleet.accounts.models import User
from fleet.catalog.services import load_release
from fleet.portfolio.models import Import, Portfolio
from fleet.records.events import Cause
from fleet.sheets import imports
from tests import kept
from tests.cast import LONG_AGO, NOW, ROOT, make_person, shipped_catalogue

AT_BEST = "The boiler is at best due, and after 60 days impaired, until each is on record."
pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def shipped() -> Iterator[None]:
    with shipped_catalogue() as folder:
        kept.once("shipped catalogue", lambda: load_release(folder=folder, at=LONG_AGO))
        yield


@pytest.fixture
def portfolio() -> Portfolio:
    portfolio = Portfolio.objects.create(ref="ALDER", name="Alder")
    make_person("ines", portfolio, "office")
    return portfolio


def sheet_lines() -> tuple[str, list[str]]:
    """Return the head of the demonstration's sheet, and its lines of Alder Terrace's first boiler."""
    head, *rows = (ROOT / "fixtures" / "demo" / "register.csv").read_text().splitlines()
    return head, [r for r in rows if r.startswith("ALD12") and ",B1," in r]


def line_of(place: str) -> str:
    return next(line for line in sheet_lines()[1] if f",{place}," in line)


def receive(portfolio: Portfolio, *lines: str) -> Import:
    content = "\n".join([sheet_lines()[0], *lines]) + "\n"
    by = User.objects.get(username="ines")
    row = pipeline.receive_import(portfolio=portfolio, content=content.encode(), name="alder.csv", by=by, at=NOW)
    assert row.status == "ready", row.report["faults"]
    return row


def receive_sheet(portfolio: Portfolio, *left_out: str, **changed: str) -> Import:
    """Receive the boiler's lines without these places, and with these words replaced."""
    kept = "\n".join(line for line in sheet_lines()[1] if not any(f",{ref}," in line for ref in left_out))
    for old, new in changed.items():
        kept = kept.replace(old, new)
    return receive(portfolio, kept)


def save(row: Import) -> None:
    by = User.objects.get(username="ines")
    row = pipeline.confirm_import(import_row=row, version=row.version, by=by, at=NOW, cause=Cause(who="office"))
    assert row.status == "saved", row.told


def told(row: Import) -> list[str]:
    lines: list[dict[str, Any]] = imports.page_lines(row.id, "not_on_record", 0)
    return [does["sentence"] for line in lines for does in line["does"]]


def test_a_register_without_a_valve_is_told_so_before_it_is_saved(portfolio: Portfolio) -> None:
    row = receive_sheet(portfolio, "valve")
    assert row.report["not_on_record"] == 1
    (sentence,) = told(row)
    assert sentence.startswith("Not on record even then: safety valve. The boiler is at best due, and after 60 days ")
    assert sentence.endswith(" For want of safety valve it is exposed from its first survey on.")


def test_a_value_that_decides_what_is_needed_is_told_too(portfolio: Portfolio) -> None:
    row = receive_sheet(portfolio, "glass", oil_2="")
    assert told(row)[0].startswith("Not on record even then: gauge glass and its fuel. ")


def test_a_whole_register_is_told_nothing(portfolio: Portfolio) -> None:
    assert told(receive_sheet(portfolio)) == []


def test_what_the_register_has_already_is_not_missed_in_a_sheet_that_leaves_it_out(portfolio: Portfolio) -> None:
    save(receive_sheet(portfolio))
    assert told(receive(portfolio, line_of("glass"))) == []


def test_an_input_put_on_record_since_stands_for_an_output_that_is_not_known(portfolio: Portfolio) -> None:
    first = receive_sheet(portfolio, **{"1100000": "", "1375000": ""})
    assert told(first)[0].startswith("Not on record even then: its output or its burner's input. ")
    save(first)
    glass = line_of("glass").replace("1100000", "")
    assert told(receive(portfolio, glass)) == ["Not on record even then: its output or its burner's input. " + AT_BEST]
    save(receive(portfolio, line_of("burner").replace("1100000", "")))
    assert told(receive(portfolio, glass)) == []


def test_a_place_that_begins_on_a_later_day_is_missed_until_then(portfolio: Portfolio) -> None:
    row = receive_sheet(portfolio, **{"limit_control,2019-10-01": "limit_control,2026-01-13"})
    assert told(row)[0].startswith("Not on record even then: high limit. ")


def test_shut_off_valves_left_out_expose_the_boiler_only_after_the_grace(portfolio: Portfolio) -> None:
    (sentence,) = told(receive_sheet(portfolio, "valve", "fuel"))
    assert sentence.endswith(
        " For want of safety valve it is exposed from its first survey on. For want of fuel shut-off valves it is "
        "exposed after those days."
    )
