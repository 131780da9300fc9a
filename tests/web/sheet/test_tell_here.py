"""Telling a phone: the switch on its screen, what the service worker shows, and that the next person hears nothing.

The browser's own push service is not reached: what it would hand over, and what it would deliver, is put in its place.
"""

import json
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Route, Worker, expect

from fleet.notices.channels.registry import channels_in_use, push_public_key
from fleet.notices.channels.settings import read_channel_settings
from fleet.notices.models import Destination
from tests.cast import Fleet
from tests.web.sheet.conftest import TakeAlong
from tests.web.sheet.phone import SheetPhone

pytestmark = pytest.mark.xdist_group("sheet")
KEY = "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4"  # RFC 8291's
SWITCH = "Tell me here"
# A browser's subscriptions, kept across pages as a browser keeps them.
SUBSCRIBES = """
    const NAME = "subscription of the test";
    const made = (text) => text && {
        ...JSON.parse(text),
        toJSON: () => JSON.parse(text),
        options: {},
        unsubscribe: async () => { localStorage.removeItem(NAME); return true; },
    };
    PushManager.prototype.getSubscription = async () => made(localStorage.getItem(NAME)) || null;
    PushManager.prototype.subscribe = async (options) => {
        const number = Number(localStorage.getItem("subscriptions made") ?? 0) + 1;
        localStorage.setItem("subscriptions made", number);
        const endpoint = `https://push.example/${options.applicationServerKey.slice(0, 4)}/${number}`;
        const keys = {
            p256dh: "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4",
            auth: "BTBZMqHH6r4Tts7J_aSIgg",
        };
        localStorage.setItem(NAME, JSON.stringify({ endpoint, keys }));
        return made(localStorage.getItem(NAME));
    };
"""


class AddressDesk:
    """Answers for the API's addresses, and keeps what is posted."""

    def __init__(self) -> None:
        self.key, self.status, self.code = KEY, 201, ""
        self.posted: list[dict[str, str]] = []

    def answer(self, route: Route) -> None:
        if route.request.method == "GET":
            route.fulfill(json={"channels": ["web_push"], "destinations": [], "push_public_key": self.key})
            return
        assert route.request.headers["authorization"].startswith("Bearer gaugeglass_")
        self.posted.append(json.loads(route.request.post_data or ""))
        route.fulfill(status=self.status, json={"errors": [{"code": self.code}]})

    def endpoints(self) -> list[str]:
        """Where the phone asked to be told."""
        return [json.loads(row["address"])["endpoint"] for row in self.posted]


@pytest.fixture
def desk(context: BrowserContext) -> AddressDesk:
    desk = AddressDesk()
    context.add_init_script(SUBSCRIBES)
    context.route("**/api/v1/destinations/", desk.answer)
    return desk


@pytest.fixture
def phone(take_along: TakeAlong, desk: AddressDesk, context: BrowserContext, live_server: Any) -> SheetPhone:
    context.grant_permissions(["notifications"], origin=live_server.url)
    phone = take_along()
    phone.go("phone")
    return phone


def expect_switched(phone: SheetPhone, is_on: bool) -> None:
    expect(phone.page.get_by_role("button", name=SWITCH)).to_have_attribute("aria-pressed", str(is_on).lower())


def test_the_switch_hands_the_subscription_over_and_ends_it(phone: SheetPhone, desk: AddressDesk) -> None:
    expect_switched(phone, False)
    phone.tap(SWITCH)
    expect_switched(phone, True)
    (posted,) = desk.posted
    assert posted["channel"] == "web_push"
    assert json.loads(posted["address"]) == {
        "endpoint": "https://push.example/BCVx/1", "keys": {"p256dh": KEY, "auth": "BTBZMqHH6r4Tts7J_aSIgg"}
    }  # fmt: skip
    phone.tap(SWITCH)
    expect_switched(phone, False)
    assert phone.page.evaluate("localStorage.getItem('subscription of the test')") is None


@pytest.fixture
def site_with_push(settings: Any) -> Iterator[None]:
    """A site that has a key for web push."""
    settings.CHANNEL_SETTINGS = read_channel_settings({"GAUGEGLASS_PUSH_KEY": "x" * 43})
    channels_in_use.cache_clear()
    yield
    channels_in_use.cache_clear()


def test_the_site_keeps_the_phone_as_an_address_of_whoever_took_it_along(
    site_with_push: None, phone: SheetPhone, desk: AddressDesk, context: BrowserContext, sorrelgate: Fleet
) -> None:
    context.unroute("**/api/v1/destinations/")
    phone.tap(SWITCH)
    expect_switched(phone, True)
    row = Destination.objects.get(channel="web_push")
    assert (row.user, row.confirmed_at is None, row.ended_at) == (sorrelgate.technician, False, None)
    key = push_public_key()
    assert json.loads(row.address)["endpoint"] == f"https://push.example/{key[:4]}/1"


def test_an_address_that_the_server_has_already_is_good(phone: SheetPhone, desk: AddressDesk) -> None:
    desk.status, desk.code = 422, "known"
    phone.tap(SWITCH)
    expect_switched(phone, True)


def test_what_stands_against_it_is_said(phone: SheetPhone, desk: AddressDesk) -> None:
    for key, status, words in [
        ("", 201, "This site sends no notices to phones."),
        (KEY, 503, "The server did not take it. Try again later."),
    ]:
        desk.key, desk.status = key, status
        phone.tap(SWITCH)
        expect(phone.page.get_by_text(words)).to_be_visible()
        expect_switched(phone, False)


def test_a_person_who_says_no_is_not_told(phone: SheetPhone, desk: AddressDesk) -> None:
    phone.page.evaluate("Notification.requestPermission = async () => 'denied'")
    phone.tap(SWITCH)
    expect(phone.page.get_by_text("This phone does not allow notices.", exact=False)).to_be_visible()
    assert desk.posted == []


def test_without_signal_the_switch_says_so(phone: SheetPhone, context: BrowserContext) -> None:
    context.unroute("**/api/v1/destinations/")
    context.set_offline(True)
    phone.tap(SWITCH)
    expect(phone.page.get_by_text("This needs signal.")).to_be_visible()
    expect_switched(phone, False)


def test_a_phone_whose_browser_dropped_its_subscription_subscribes_again(phone: SheetPhone, desk: AddressDesk) -> None:
    phone.tap(SWITCH)
    expect_switched(phone, True)
    phone.page.evaluate("localStorage.removeItem('subscription of the test')")
    with phone.page.expect_response(lambda response: response.request.method == "POST"):
        phone.page.reload()
    assert desk.endpoints() == ["https://push.example/BCVx/1", "https://push.example/BCVx/2"]


def test_a_phone_that_was_never_switched_on_is_left_alone_and_says_so_in_both_languages(
    phone: SheetPhone, desk: AddressDesk
) -> None:
    phone.page.reload()
    expect_switched(phone, False)
    phone.page.wait_for_load_state("networkidle")
    assert desk.posted == []
    phone.tap("Español")
    expect(phone.page.get_by_role("button", name="Avisarme aquí")).to_be_visible()
    expect(phone.page.get_by_text("A este teléfono no llegan avisos.")).to_be_visible()


def test_whoever_takes_the_phone_next_hears_nothing_of_the_one_before(phone: SheetPhone, desk: AddressDesk) -> None:
    phone.tap(SWITCH)
    expect_switched(phone, True)
    phone.tap("Take this phone off")
    expect(phone.page.get_by_text("Take this phone along")).to_be_visible()
    assert phone.page.evaluate("localStorage.getItem('subscription of the test')") is None


# The service worker


@pytest.fixture
def worker(phone: SheetPhone, context: BrowserContext) -> Iterator[Worker]:
    (worker,) = context.service_workers
    return worker


def deliver(worker: Worker, data: str) -> list[dict[str, Any]]:
    """Deliver a message as the browser does; return the notices that are shown then."""
    script = """async (data) => {
        const event = new PushEvent("push", { data });
        const waits = [];
        event.waitUntil = (promise) => waits.push(promise);
        self.dispatchEvent(event);
        await Promise.all(waits);
        return (await self.registration.getNotifications()).map(
            ({ title, body, tag, requireInteraction }) => ({ title, body, tag, requireInteraction }));
    }"""
    return list(worker.evaluate(script, data))


def test_a_message_is_shown_once_with_its_text_and_a_repeat_takes_its_place(worker: Worker) -> None:
    message = {"id": "n1", "title": "Hold: Boiler 1", "text": "The cutoff failed.", "is_danger": True}
    shown = [{"title": "Hold: Boiler 1", "body": "The cutoff failed.", "tag": "n1", "requireInteraction": True}]
    assert deliver(worker, json.dumps(message)) == shown
    assert deliver(worker, json.dumps(message)) == shown
    assert len(deliver(worker, json.dumps({**message, "id": "n2"}))) == 2


def test_a_message_that_cannot_be_read_is_shown_as_well(worker: Worker) -> None:
    for data in ("", "no json", "[]", "5", "null"):
        worker.evaluate("self.registration.getNotifications().then((all) => all.forEach((one) => one.close()))")
        assert [notice["title"] for notice in deliver(worker, data)] == ["Gaugeglass"], data


def test_a_touch_on_a_notice_opens_the_alerts(worker: Worker) -> None:
    deliver(worker, json.dumps({"id": "n1", "title": "Hold", "text": "x"}))
    script = """async () => {
        const opened = [], waits = [];
        self.clients.openWindow = async (address) => opened.push(address);
        const [notification] = await self.registration.getNotifications();
        const event = new NotificationEvent("notificationclick", { notification });
        event.waitUntil = (promise) => waits.push(promise);
        self.dispatchEvent(event);
        await Promise.all(waits);
        return [opened, (await self.registration.getNotifications()).length];
    }"""
    assert worker.evaluate(script) == [["/alerts/"], 0]
