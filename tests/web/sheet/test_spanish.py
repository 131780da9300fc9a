"""The visit sheet in Spanish: places that have no name of their own, and what is accepted of a number."""

import pytest
from playwright.sync_api import expect

from fleet.portfolio.models import Position
from tests.cast import Fleet
from tests.web.sheet.conftest import TakeAlong
from tests.web.sheet.phone import SheetPhone

pytestmark = pytest.mark.xdist_group("sheet")


@pytest.fixture
def phone(sorrelgate: Fleet, take_along: TakeAlong) -> SheetPhone:
    """A technician's, in Spanish, at an annual service; one place has a name that somebody gave it."""
    Position.objects.filter(id=sorrelgate.bench().places["valve"]).update(name="north valve")
    Position.objects.filter(id=sorrelgate.bench().places["upper"]).update(name="Upper cutoff 2")
    taken = take_along()
    taken.go("phone")
    taken.tap("Español")
    taken.go(f"boiler/{sorrelgate.bench().boiler.id}")
    taken.tap("Servicio anual")
    return taken


def test_a_place_without_a_name_of_its_own_is_named_as_its_role(phone: SheetPhone) -> None:
    shown = " | ".join(phone.page.locator(".row strong").all_inner_texts())
    assert "límite alto · Disparo del límite" in shown
    assert "Corte superior 2" in shown
    assert "north valve" in shown
    assert not [english for english in ("high limit", "Upper cutoff") if english in shown]


def test_what_is_accepted_of_a_number_is_said_in_spanish(phone: SheetPhone) -> None:
    (draft,) = phone.kept()
    step = next(s["id"] for s in draft["steps"] if s["code"] == "limit_trip")
    phone.go(f"visit/{draft['id']}/step/{step}/trip_psi")
    expect(phone.page.get_by_text("a no más de 1 psi de su ajuste", exact=False)).to_be_visible()
    assert "set point" not in phone.page.inner_text("main")
