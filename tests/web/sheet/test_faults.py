"""The visit sheet when something breaks: signal, server, clock, disk, key, version. No visit is lost or doubled."""

import json
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import BrowserContext, Route, expect

from fleet import pipeline
from fleet.accounts import keys
from fleet.accounts.models import Grant, Key
from fleet.visits.models import Visit
from fleet.web.sheet import sheet_page
from tests.cast import Fleet, make_person
from tests.web.conftest import take_session
from tests.web.sheet.conftest import TakeAlong
from tests.web.sheet.phone import (
    TAKE_ALONG,
    SheetPhone,
    begin_check,
    finish_flush,
    posted,
    try_again,
)

pytestmark = pytest.mark.xdist_group("sheet")


@pytest.mark.parametrize("failures", [3])
def test_a_server_that_fails_three_times_gets_the_visit_once(
    take_along: TakeAlong, context: BrowserContext, failures: int
) -> None:
    phone, before, tries = take_along(), len(posted()), []

    def fail(route: Route) -> None:
        tries.append(route.request.post_data)
        if len(tries) <= failures:
            route.fulfill(status=500, body='{"title": "Something failed."}', content_type="application/problem+json")
        else:
            route.continue_()

    context.route("**/api/v1/visits/", fail)
    finish_flush(phone)
    for _ in range(failures):
        phone.page.wait_for_timeout(700)
        try_again(phone)
    phone.wait_for_state("posted")
    assert len(posted()) == before + 1
    assert len(set(tries)) == 1
    assert len(tries) == failures + 1


def test_an_answer_lost_after_the_visit_was_stored_doubles_nothing(
    take_along: TakeAlong, context: BrowserContext
) -> None:
    phone, before, lost = take_along(), len(posted()), []

    def lose(route: Route) -> None:
        if lost:
            route.continue_()
        else:
            lost.append(route.fetch().status)
            route.abort()

    context.route("**/api/v1/visits/", lose)
    finish_flush(phone)
    phone.page.wait_for_timeout(700)
    assert lost == [201]
    assert phone.kept()[0]["state"] == "waiting"
    try_again(phone)
    sent = phone.wait_for_state("posted")
    assert len(posted()) == before + 1
    assert sent["answer"]["visit"] == str(posted()[-1].id)


def test_what_another_technician_posted_meanwhile_is_shown_and_both_visits_stand(
    take_along: TakeAlong, context: BrowserContext, sorrelgate: Fleet
) -> None:
    phone, before = take_along(), len(posted())
    context.set_offline(True)
    begin_check(phone)
    phone.answer_until("Before leaving")
    other = make_person("lena", sorrelgate.portfolio, "technician", "technician", "operator")
    at = timezone.now()
    pipeline.post_visits([sorrelgate.flushed(at - timedelta(minutes=1), who=other)], by=other, at=at)
    context.set_offline(False)
    phone.page.wait_for_timeout(1500)
    phone.page.evaluate("location.hash = location.hash.replace('/leave', '')")
    expect(phone.page.get_by_text("Posted by others since this visit was begun")).to_be_visible()
    phone.tap("Before leaving")
    phone.tap("Finish and post")
    phone.wait_for_state("posted")
    assert len(posted()) == before + 2


FILL_DISK = """() => {
    window.realPut = IDBObjectStore.prototype.put;
    IDBObjectStore.prototype.put = () => { throw new DOMException('full', 'QuotaExceededError'); };
}"""


def test_a_phone_without_room_says_that_a_tap_is_not_saved_and_keeps_it_on_the_screen(take_along: TakeAlong) -> None:
    phone = take_along()
    begin_check(phone)
    phone.page.evaluate(FILL_DISK)
    phone.answer({})
    expect(phone.page.get_by_text("NOT SAVED", exact=False)).to_be_visible()
    assert phone.question() == "What came from the drain?"
    phone.page.evaluate("() => { IDBObjectStore.prototype.put = window.realPut; }")
    phone.answer({})
    expect(phone.page.get_by_text("NOT SAVED", exact=False)).to_be_hidden()
    phone.page.reload()
    phone.page.wait_for_timeout(500)
    (draft,) = phone.kept()
    (step,) = [s for s in draft["steps"] if s["order"] is not None]
    assert step["answers"] == {"burner_firing": True, "water": "runs"}


def test_without_room_no_visit_is_begun(take_along: TakeAlong) -> None:
    phone = take_along()
    phone.open_boiler("12 Alder Terrace · Boiler 1")
    phone.page.evaluate(FILL_DISK)
    phone.tap("Routine check")
    expect(phone.page.get_by_text("This phone has no room left, so no visit was begun.", exact=False)).to_be_visible()
    assert phone.kept() == []


@pytest.mark.parametrize("days", [1, -1])
def test_a_clock_that_is_wrong_by_a_day_is_put_right_by_the_servers(
    sorrelgate: Fleet, live_server: Any, context: BrowserContext, days: int
) -> None:
    """The phone's clock was right when it was taken along, and jumps while there is no signal."""
    phone = SheetPhone.take_along(context, sorrelgate.technician, live_server.url)
    context.set_offline(True)
    context.add_init_script(
        f"const real = Date.now.bind(Date); const off = {days} * 86400000; Date.now = () => real() + off;"
    )
    phone.page.reload()
    finish_flush(phone)
    context.set_offline(False)
    sent = phone.wait_for_state("posted")
    (visit,) = Visit.objects.filter(id=sent["id"])
    assert abs(visit.performed_at - timezone.now()) < timedelta(minutes=2)
    expect(phone.page.get_by_text("This phone's clock was off by 24.0 hours.", exact=False)).to_be_visible()


def test_a_key_that_was_ended_wipes_what_was_fetched_and_keeps_the_visit_for_its_author(
    take_along: TakeAlong, context: BrowserContext, sorrelgate: Fleet, live_server: Any
) -> None:
    phone, before = take_along(), len(posted())
    context.set_offline(True)
    finish_flush(phone)
    key = Key.objects.get(user=sorrelgate.technician, revoked_at=None, name__startswith="Visit sheet")
    keys.revoke_key(key=key.id, by=sorrelgate.technician, at=timezone.now())
    context.set_offline(False)
    try_again(phone)
    expect(phone.page.get_by_role("button", name=TAKE_ALONG)).to_be_visible()
    expect(phone.page.get_by_text("1 visits on this phone were not posted.", exact=False)).to_be_visible()
    assert "Alder" not in phone.page.inner_text("body")
    # Whoever holds the phone now is not known: only its author may delete the visit.
    expect(phone.page.get_by_role("button", name="Delete this visit")).to_have_count(0)
    counts = phone.page.evaluate(
        "import('/sheet/files/store.js').then(async (s) => [(await s.readRows('copies')).length])"
    )
    assert counts == [0]
    assert len(posted()) == before
    phone.tap(TAKE_ALONG)
    phone.wait_for_state("posted")
    assert len(posted()) == before + 1


def test_another_person_on_the_same_phone_sees_nothing_of_a_visit_that_waits(
    take_along: TakeAlong, context: BrowserContext, sorrelgate: Fleet, live_server: Any
) -> None:
    phone = take_along()
    context.set_offline(True)
    begin_check(phone)
    (draft,) = phone.kept()
    visit, step = draft["id"], draft["steps"][0]["id"]
    phone.answer_until("Before leaving")
    phone.go("phone")
    phone.page.on("dialog", lambda dialog: dialog.accept())
    phone.tap("Take this phone off")
    context.set_offline(False)
    lena = make_person("lena", sorrelgate.portfolio, "technician", "technician")
    take_session(context, lena, live_server.url)
    phone.page.goto(f"{live_server.url}/sheet/")
    phone.tap(TAKE_ALONG)
    expect(phone.page.get_by_text("1 visits of somebody else are kept here", exact=False)).to_be_visible()
    for screen in ("", "/leave", "/add", f"/step/{step}"):
        phone.go(f"visit/{visit}{screen}")
        expect(phone.page.get_by_text("12 Alder Terrace", exact=False)).to_have_count(0)
    assert phone.kept() == [None]
    assert not Visit.objects.filter(posted_by=lena).exists()


def test_a_new_version_of_the_sheet_takes_nothing_from_a_visit_that_is_written(
    take_along: TakeAlong, context: BrowserContext, live_server: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    phone = take_along()
    begin_check(phone)
    phone.answer({})
    monkeypatch.setattr(sheet_page, "assets_version", lambda: "another")
    phone.page.evaluate("navigator.serviceWorker.getRegistration('/sheet/').then((r) => r.update())")
    assert phone.question() == "What came from the drain?"
    phone.page.close()
    second = SheetPhone(context.new_page())
    second.page.goto(f"{live_server.url}/sheet/")
    second.page.wait_for_timeout(800)
    (draft,) = second.kept()
    assert [s["answers"] for s in draft["steps"] if s["answers"]] == [{"burner_firing": True}]
    names = second.page.evaluate("caches.keys()")
    assert "sheet-another" in names


def test_two_tabs_lose_none_of_each_others_taps(
    take_along: TakeAlong, context: BrowserContext, live_server: Any
) -> None:
    first = take_along()
    begin_check(first)
    second = SheetPhone(context.new_page())
    second.page.goto(first.page.url)
    second.page.wait_for_timeout(800)
    first.answer({})
    second.page.reload()
    second.page.wait_for_timeout(800)
    second.answer({})
    (draft,) = first.kept()
    assert [s["answers"] for s in draft["steps"] if s["answers"]] == [{"burner_firing": True, "water": "runs"}]


def test_what_the_server_refuses_stays_with_the_reason_on_its_step(
    take_along: TakeAlong, context: BrowserContext, sorrelgate: Fleet
) -> None:
    """The boiler's register changed meanwhile: the place is no longer of a kind that can be flushed."""
    phone = take_along()

    def refuse(route: Route) -> None:
        errors = [{"code": "x", "message": "This boiler has no such position.", "pointer": "/entries/0/position"}]
        body = json.dumps({"title": "Refused", "errors": errors})
        route.fulfill(status=422, body=body, content_type="application/problem+json")

    context.route("**/api/v1/visits/", refuse)
    finish_flush(phone)
    phone.wait_for_state("refused")
    expect(phone.page.get_by_role("alert")).to_contain_text("The server refused it. Nothing is lost.")
    link = phone.page.get_by_role("link", name="This boiler has no such position.")
    (draft,) = phone.kept()
    assert draft["steps"][0]["id"] in str(link.get_attribute("href"))
    context.unroute("**/api/v1/visits/")
    phone.tap("Change it")
    phone.tap("Before leaving")
    phone.tap("Finish and post")
    phone.wait_for_state("posted")


def test_a_visit_to_a_boiler_that_is_no_longer_ones_own_is_told_and_kept(
    take_along: TakeAlong, context: BrowserContext, sorrelgate: Fleet
) -> None:
    phone = take_along()
    context.set_offline(True)
    finish_flush(phone)
    Grant.objects.filter(user=sorrelgate.technician).update(until=timezone.now())
    context.set_offline(False)
    phone.wait_for_state("refused")
    expect(phone.page.get_by_text("This boiler is no longer on the register", exact=False)).to_be_visible()
