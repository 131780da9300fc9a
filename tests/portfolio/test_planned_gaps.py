"""The report of an import says what a boiler's register will still leave out, before anybody saves it."""

from collections.abc import Iterator
from typing import Any

import pytest

from fleet import pipeline
from fleet.catalog.services import load_release
from fleet.portfolio.models import Import, Portfolio
from fleet.records.events import Cause
from fleet.sheets import imports
from tests.cast import LONG_AGO, NOW, ROOT, make_person, shipped_catalogue

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def shipped() -> Iterator[None]:
    with shipped_catalogue() as folder:
        load_release(folder=folder, at=LONG_AGO)
        yield


@pytest.fixture
def portfolio() -> Portfolio:
    return Portfolio.objects.create(ref="ALDER", name="Alder")


def handed(portfolio: Portfolio, *left_out: str, **changed: str) -> Import:
    """Alder Terrace's first boiler, without these places, and with these words of its sheet replaced."""
    head, *rows = (ROOT / "fixtures" / "demo" / "register.csv").read_text().splitlines()
    own = [r for r in rows if r.startswith("ALD12") and ",B1," in r]
    kept = "\n".join([head, *(r for r in own if not any(f",{ref}," in r for ref in left_out))]) + "\n"
    for old, new in changed.items():
        kept = kept.replace(old, new)
    ines = make_person("ines", portfolio, "office")
    return pipeline.receive_import(portfolio=portfolio, content=kept.encode(), name="alder.csv", by=ines, at=NOW)


def told(row: Import) -> list[str]:
    lines: list[dict[str, Any]] = imports.page_lines(row.id, "not_on_record", 0)
    return [does["sentence"] for line in lines for does in line["does"]]


def test_a_register_without_a_valve_is_told_so_before_it_is_saved(portfolio: Portfolio) -> None:
    row = handed(portfolio, "valve")
    assert row.report["not_on_record"] == 1
    (sentence,) = told(row)
    assert sentence.startswith("Not on record even then: safety valve. The boiler is at best due, and after 60 days ")
    assert sentence.endswith(" For want of safety valve it is exposed from its first survey on.")


def test_a_value_that_decides_what_is_needed_is_told_too(portfolio: Portfolio) -> None:
    row = handed(portfolio, "glass", oil_2="")
    assert told(row)[0].startswith("Not on record even then: gauge glass and its fuel. ")


def test_a_whole_register_is_told_nothing(portfolio: Portfolio) -> None:
    assert told(handed(portfolio)) == []


def test_what_the_register_has_already_is_not_missed_in_a_sheet_that_leaves_it_out(portfolio: Portfolio) -> None:
    first = handed(portfolio)
    by = make_person("office", portfolio, "office")
    pipeline.confirm_import(import_row=first, version=first.version, by=by, at=NOW, cause=Cause(who="office"))
    content = (ROOT / "fixtures" / "demo" / "register.csv").read_text().splitlines()
    sheet = "\n".join([content[0], next(r for r in content if r.startswith("ALD12") and ",limit," in r)]) + "\n"
    again = pipeline.receive_import(portfolio=portfolio, content=sheet.encode(), name="limit.csv", by=by, at=NOW)
    assert told(again) == []
