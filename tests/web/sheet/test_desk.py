"""The desk at the visit sheet: what an operator says on the telephone, and a month of paper, both marked."""

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import BrowserContext, Route, expect

from fleet.accounts.models import Grant, Qualification
from fleet.visits.models import Visit
from tests.cast import LONG_AGO, Fleet, make_person
from tests.web.sheet.phone import SheetPhone, posted

pytestmark = pytest.mark.xdist_group("sheet")


@pytest.fixture
def desk(sorrelgate: Fleet, live_server: Any, context: BrowserContext) -> SheetPhone:
    """The dispatcher's browser; the caretaker is an operator of the house."""
    bram = sorrelgate.caretaker
    Grant.objects.filter(user=bram).update(building=sorrelgate.bench().boiler.building)
    Qualification.objects.get_or_create(user=bram, code="operator", defaults={"since": LONG_AGO})
    dispatcher = make_person("henk", sorrelgate.portfolio, "dispatcher")
    return SheetPhone.take_along(context, dispatcher, live_server.url)


def test_what_a_caretaker_says_on_the_telephone_is_kept_as_said_by_him_and_relayed(
    desk: SheetPhone, sorrelgate: Fleet
) -> None:
    desk.open_boiler("12 Alder Terrace · Boiler 1")
    desk.tap("bram")
    expect(desk.page.get_by_text("Said by bram, entered by henk: it counts as relayed.")).to_be_visible()
    expect(desk.page.get_by_text("Danger first", exact=False)).to_be_visible()
    desk.tap("Begin")
    desk.answer_until("Before leaving")
    desk.tap("Finish and post")
    sent = desk.wait_for_state("posted")
    (verdict,) = sent["answer"]["verdicts"]
    assert verdict["proves"] == "partial"
    assert verdict["relayed_from"] == [str(sorrelgate.caretaker.id)]
    visit = Visit.objects.get(id=sent["id"])
    assert [p.user for p in visit.people.all()] == [sorrelgate.caretaker]
    assert visit.posted_by is not None
    assert visit.posted_by.username == "henk"


def test_a_months_paper_lines_become_visits_of_their_days(desk: SheetPhone, sorrelgate: Fleet) -> None:
    before = len(posted())
    desk.open_boiler("12 Alder Terrace · Boiler 1")
    desk.tap("Copy a paper log")
    rows = desk.page.locator("table.paper tbody tr")
    assert rows.count() == 31
    for back in (1, 8, 15):
        rows.nth(30 - back).locator("select").nth(1).select_option("yes")
    desk.tap("Keep and post 3 lines")
    for _ in range(60):
        if len(posted()) == before + 3:
            break
        desk.page.wait_for_timeout(200)
    copied = posted()[before:]
    today = timezone.now().date()
    assert sorted((today - v.performed_at.date()).days for v in copied) == [1, 8, 15]
    assert {v.note for v in copied} == {"Copied from paper by henk."}
    assert {p.user for v in copied for p in v.people.all()} == {sorrelgate.caretaker}
    assert all(e.outcome == "pass" for v in copied for e in v.entries.all())
    assert all(v.posted_at - v.performed_at > timedelta(hours=1) for v in copied)


def test_a_tick_on_paper_for_one_cutoff_says_nothing_of_the_other(
    sorrelgate: Fleet, live_server: Any, context: BrowserContext
) -> None:
    lower = str(sorrelgate.bench().places["lower"])

    def add_flush(route: Route) -> None:
        answer = route.fetch()
        if answer.status == 304:
            return route.fulfill(response=answer)
        pack = answer.json()
        lines = pack["sheets"]["routine_check"]
        lines.append({**next(line for line in lines if line["procedure"] == "flush"), "position": lower})
        return route.fulfill(response=answer, json=pack)

    context.route(f"**/{sorrelgate.bench().boiler.id}/field-pack/", add_flush)
    dispatcher = make_person("henk", sorrelgate.portfolio, "dispatcher")
    phone, before = SheetPhone.take_along(context, dispatcher, live_server.url), len(posted())
    phone.open_boiler("12 Alder Terrace · Boiler 1")
    phone.tap("Copy a paper log")
    row = phone.page.locator("table.paper tbody tr").nth(29)
    assert row.locator("select").count() == 4
    row.locator("select").nth(2).select_option("yes")
    phone.tap("Keep and post 1 lines")
    phone.wait_for_state("posted")
    (copied,) = posted()[before:]
    assert [(e.code, str(e.position_id)) for e in copied.entries.all()] == [("flush", lower)]
