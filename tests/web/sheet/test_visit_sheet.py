"""The visit sheet in a real browser: written without signal, posted once, nothing lost whatever befalls the phone."""

import io
import os
import signal
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.test import Client
from django.utils import timezone
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, Error, expect

from fleet.board.queries import standing_of
from fleet.files.models import KeptFile
from fleet.web.sheet import sheet_page
from tests.cast import Fleet
from tests.servers import chromium
from tests.web.conftest import ARGUMENTS, take_session
from tests.web.sheet.conftest import TakeAlong
from tests.web.sheet.phone import (
    SCREEN,
    SPREAD_TOUCHES,
    TAKE_ALONG,
    SheetPhone,
    begin_check,
    close_quietly,
    finish_flush,
    posted,
)

pytestmark = pytest.mark.xdist_group("sheet")


def test_a_flush_written_without_signal_is_posted_once_when_there_is_some(
    take_along: TakeAlong, context: BrowserContext, sorrelgate: Fleet
) -> None:
    phone, before = take_along(), len(posted())
    context.set_offline(True)
    phone.page.reload()
    begin_check(phone)
    asked = phone.answer_until("Before leaving")
    assert asked[:2] == ["What is the burner doing?", "What came from the drain?"]
    expect(phone.page.get_by_text("To be judged when there is signal.")).to_be_visible()
    phone.tap("Finish and post")
    assert len(posted()) == before
    context.set_offline(False)
    sent = phone.wait_for_state("posted")
    visit = posted()[-1]
    assert len(posted()) == before + 1
    assert str(visit.id) == sent["id"]
    (entry,) = visit.entries.all()
    assert (entry.code, entry.outcome) == ("flush", "pass")
    assert {r.name: r.flag if r.flag is not None else r.word for r in entry.readings.all()} == {
        "burner_firing": True,
        "water": "runs",
        "burner_stopped": True,
        "recovery": "prompt",
    }


def test_the_first_act_of_a_hold_stands_at_once_without_signal(take_along: TakeAlong, context: BrowserContext) -> None:
    phone = take_along()
    context.set_offline(True)
    begin_check(phone)
    for _ in range(2):
        phone.answer({})
    phone.answer({"What did the burner do?": "KEPT FIRING"})
    expect(phone.page.get_by_role("alert")).to_contain_text("Switch the burner off by hand now.")
    phone.tap("Take back")
    expect(phone.page.get_by_role("alert")).to_have_count(0)
    assert phone.question() == "What did the burner do?"


def test_a_whole_service_survives_a_killed_browser_and_becomes_one_visit(
    sorrelgate: Fleet,
    live_server: Any,
    one_chromium: Browser,
    tmp_path: Path,
) -> None:
    """A replacement, a repair and a correction of an answer; the browser is killed in the middle of a step."""
    start = one_chromium.browser_type.launch_persistent_context
    options: dict[str, Any] = {"executable_path": chromium(), "args": ARGUMENTS, "viewport": SCREEN, "has_touch": True}
    before = len(posted())
    context = start(tmp_path, **options)
    phone = SheetPhone.take_along(context, sorrelgate.technician, live_server.url)
    context.set_offline(True)
    phone.open_boiler("12 Alder Terrace · Boiler 1")
    phone.tap("Annual service")
    phone.tap("Begin")
    for _ in range(3):
        phone.answer({})
    (draft,) = phone.kept()
    taps = sum(len(s["answers"]) + (s["seen"] is not None) for s in draft["steps"])
    assert taps == 3
    _kill(tmp_path)
    with suppress(Error):
        context.close()
    context = start(tmp_path, **options)
    context.set_offline(True)
    context.add_init_script(SPREAD_TOUCHES)
    phone = SheetPhone(context.pages[0])
    phone.page.goto(f"{live_server.url}/sheet/")
    phone.page.wait_for_function("document.body.dataset.drawn !== undefined")  # it knows by now whose phone it is
    (found,) = phone.kept()
    assert found["id"] == draft["id"]
    assert found["steps"] == draft["steps"]
    phone.page.get_by_text("12 Alder Terrace · Boiler 1").first.click()
    phone.tap("Go on")
    phone.answer_until("Before leaving")
    _replace_limit(phone)
    phone.go(f"visit/{draft['id']}/leave")
    phone.leave()
    context.set_offline(False)
    phone.wait_for_state("posted")
    visit = posted()[-1]
    assert len(posted()) == before + 1
    assert visit.kind == "annual_service"
    assert visit.entries.count() >= 8
    assert visit.entries.filter(act="replace").get().values == {"set_psi": 8.0}
    assert standing_of(visit.boiler_id, timezone.now())
    close_quietly(context)


def _replace_limit(phone: SheetPhone) -> None:
    phone.page.get_by_role("link", name="Back").click()
    phone.tap("Add something")
    phone.tap("Replaced: a new device")
    phone.tap("high limit")
    phone.page.get_by_label("set psi psi", exact=True).fill("8")
    phone.tap("It is fitted")


def _kill(profile: Path) -> None:
    """End the browser of this profile as an empty battery does: without a word."""
    for process in Path("/proc").glob("[0-9]*"):
        try:
            words = (process / "cmdline").read_bytes().split(b"\0")
        except OSError:
            continue  # it has ended meanwhile
        if f"--user-data-dir={profile}".encode() in words:
            with suppress(ProcessLookupError):
                os.kill(int(process.name), signal.SIGKILL)


def test_ones_own_visit_is_corrected_from_what_was_posted(take_along: TakeAlong, context: BrowserContext) -> None:
    phone = take_along()
    finish_flush(phone)
    first = phone.wait_for_state("posted")
    phone.open_boiler("12 Alder Terrace · Boiler 1")
    phone.tap("Earlier visits")
    phone.page.get_by_role("button", name="Correct it").first.click()
    expect(phone.page.get_by_text("a correction", exact=False)).to_be_visible()
    phone.page.get_by_role("link", name="Flush").first.click()
    phone.tap("Take back")
    phone.answer({"How did the level come back?": "SLOWLY"})
    phone.page.evaluate("location.hash = location.hash.replace(/step.*/, 'leave')")
    phone.page.wait_for_timeout(500)
    phone.page.get_by_label("Why it is corrected").fill("It came back slowly.")
    phone.page.get_by_label("Why it is corrected").blur()
    phone.page.wait_for_timeout(500)
    phone.tap("Finish and post")
    phone.page.wait_for_timeout(1500)
    correction = posted()[-1]
    assert str(correction.corrects_id) == first["id"]
    assert correction.entries.get().readings.get(name="recovery").word == "slow"


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_each_screen_can_be_used_by_anybody_at_320_pixels(
    sorrelgate: Fleet, live_server: Any, browser: Browser, theme: Any
) -> None:
    context = browser.new_context(viewport={"width": 320, "height": 640}, color_scheme=theme)
    phone = SheetPhone.take_along(context, sorrelgate.technician, live_server.url)
    begin_check(phone)
    visit = phone.drawn().split("/")[2]
    wrong = []
    for screen in (
        "",
        "phone",
        f"visit/{visit}",
        f"visit/{visit}/step/s0",
        f"visit/{visit}/add",
        f"visit/{visit}/leave",
    ):
        phone.go(screen)
        wrong += [(screen, v["id"], v["nodes"][0]["html"][:90]) for v in Axe().run(phone.page).response["violations"]]
        if phone.page.evaluate("document.documentElement.scrollWidth") > 320:
            wrong.append((screen, "wider than the screen", ""))
    close_quietly(context)
    assert wrong == []


def test_a_second_touch_within_400_milliseconds_is_a_slip(
    sorrelgate: Fleet, live_server: Any, context: BrowserContext
) -> None:
    phone = SheetPhone.take_along(context, sorrelgate.technician, live_server.url)
    begin_check(phone)
    stamps = "[5000000, 5000399, 5000400]"
    phone.page.evaluate(f"""() => {{
        const stamps = {stamps};
        Object.defineProperty(Event.prototype, 'timeStamp', {{ get: () => window.stamp }});
        window.touchAt = (number) => {{
            window.stamp = stamps[number];
            document.querySelector('.answers .answer').click();
        }};
    }}""")
    asked = []
    for number in range(3):
        phone.page.evaluate(f"touchAt({number})")
        phone.page.wait_for_timeout(300)
        asked.append(phone.question())
    assert asked == ["What came from the drain?", "What came from the drain?", "What did the burner do?"]


def test_an_answer_is_big_enough_for_a_glove_and_opposite_answers_keep_their_places(take_along: TakeAlong) -> None:
    phone = take_along()
    begin_check(phone)
    boxes = [b.bounding_box() for b in phone.page.locator(".answers .answer >> visible=true").all()]
    assert [round(box["height"]) >= 72 for box in boxes if box] == [True, True]
    upper, lower = (box for box in boxes if box)
    assert lower["y"] - (upper["y"] + upper["height"]) >= 16
    assert upper["y"] >= SCREEN["height"] / 2


UNCHANGED_BYTES = 500  # an answer 304 with its headers; the service worker asks for each file that the page has


def test_a_first_use_is_light_over_the_wire(sorrelgate: Fleet, live_server: Any, context: BrowserContext) -> None:
    """The page, its files, the words, the day and two boilers."""
    sizes: list[int] = []
    page = context.new_page()
    session = context.new_cdp_session(page)
    session.send("Network.enable")
    session.on("Network.loadingFinished", lambda event: sizes.append(event["encodedDataLength"]))
    take_session(context, sorrelgate.technician, live_server.url)
    page.goto(f"{live_server.url}/sheet/")
    SheetPhone(page).tap(TAKE_ALONG)
    page.wait_for_load_state("networkidle")
    page.wait_for_timeout(1000)
    used = sum(sizes) + UNCHANGED_BYTES * len(sheet_page.kept_addresses())
    print(f"\nfirst use over the wire: {used:,} bytes")
    assert 20_000 < used < 150_000


def test_a_file_that_the_phone_has_is_not_sent_again(client: Client, db: None) -> None:
    for address in sheet_page.kept_addresses():
        if "/files/" in address:
            first = client.get(address, headers={"Accept-Encoding": "gzip"})
            again = client.get(address, headers={"If-None-Match": first["ETag"], "Accept-Encoding": "gzip"})
            assert first["Content-Encoding"] == "gzip"
            assert again.status_code == 304


def test_no_other_file_is_served_by_that_address(client: Client, db: None) -> None:
    for name in ("missing.js", "..%2Fboard%2Fboard.css", "__init__.py"):
        assert client.get(f"/sheet/files/{name}").status_code == 404


def test_two_photographs_are_taken_without_signal_and_arrive_after_their_visit(
    take_along: TakeAlong, context: BrowserContext
) -> None:
    phone = take_along()
    context.set_offline(True)
    begin_check(phone)
    phone.answer_until("Before leaving")
    for color in ((200, 30, 30), (30, 30, 200)):
        written = io.BytesIO()
        Image.new("RGB", (3000, 1500), color).save(written, "PNG")
        file = {"name": "plate.png", "mimeType": "image/png", "buffer": written.getvalue()}
        phone.page.locator("input[type=file]").set_input_files([file])  # type: ignore[list-item]
        phone.page.wait_for_timeout(400)
    expect(phone.page.get_by_text("Photograph (2)")).to_be_visible()
    phone.tap("Finish and post")
    context.set_offline(False)
    phone.wait_for_state("posted")
    for _ in range(50):
        if KeptFile.objects.filter(kept_at__isnull=False).count() == 2:
            break
        phone.page.wait_for_timeout(200)
    files = KeptFile.objects.order_by("sha256")
    assert [(row.width, row.height, row.kept_at is not None) for row in files] == [(2048, 1024, True)] * 2
    assert {p.sha256 for p in posted()[-1].photographs.all()} == {row.sha256 for row in files}
    count = "import('/sheet/files/store.js').then(async (s) => (await s.readRows('photos')).length)"
    for _ in range(25):
        if phone.page.evaluate(count) == 0:
            break
        phone.page.wait_for_timeout(200)
    assert phone.page.evaluate(count) == 0


def take_photograph(phone: SheetPhone, color: tuple[int, int, int]) -> None:
    written = io.BytesIO()
    Image.new("RGB", (300, 150), color).save(written, "PNG")
    file = {"name": "plate.png", "mimeType": "image/png", "buffer": written.getvalue()}
    phone.page.locator("input[type=file]").set_input_files([file])  # type: ignore[list-item]
    phone.page.wait_for_timeout(400)


def test_a_name_that_is_typed_and_not_kept_is_told_on_finish(take_along: TakeAlong) -> None:
    phone = take_along()
    begin_check(phone)
    phone.answer_until("Before leaving")
    phone.page.get_by_label("Somebody else").type("Ana Paz")
    phone.tap("OFF")  # the screen is drawn anew, and the name stands still
    expect(phone.page.get_by_label("Somebody else")).to_have_value("Ana Paz")
    phone.tap("Finish and post")
    phone.wait_for_state("posted")
    assert [t["name"] for t in posted()[-1].leaving_checks["told"]] == ["Ana Paz"]


def test_a_photograph_is_taken_back_before_finishing_and_from_a_correction(take_along: TakeAlong) -> None:
    phone = take_along()
    phone.page.on("dialog", lambda dialog: dialog.accept())
    begin_check(phone)
    phone.answer_until("Before leaving")
    for color in ((200, 30, 30), (30, 30, 200)):
        take_photograph(phone, color)
    phone.tap("Take back photograph 1")
    expect(phone.page.get_by_text("Photograph (1)")).to_be_visible()
    phone.tap("Finish and post")
    phone.wait_for_state("posted")
    assert posted()[-1].photographs.count() == 1
    phone.open_boiler("12 Alder Terrace · Boiler 1")
    phone.tap("Earlier visits")
    phone.page.get_by_role("button", name="Correct it").first.click()
    expect(phone.page.get_by_text("a correction", exact=False)).to_be_visible()
    phone.page.evaluate("location.hash += '/leave'")
    phone.tap("Take back photograph 1")
    phone.page.get_by_label("Why it is corrected").fill("It shows another boiler.")
    phone.page.get_by_label("Why it is corrected").blur()
    phone.page.wait_for_timeout(500)
    phone.tap("Finish and post")
    phone.page.wait_for_timeout(1500)
    assert posted()[-1].corrects_id is not None
    assert posted()[-1].photographs.count() == 0


def test_what_was_passed_over_is_listed_before_leaving_and_leads_into_no_circle(take_along: TakeAlong) -> None:
    """Two steps that need nothing: going on from each ends before leaving, and neither is claimed."""
    phone = take_along()
    script = """async () => {
        const { newDraft, nextStep, visitBody } = await import('/sheet/files/draft.js');
        const line = (position) => ({ group: 2, position, procedure: 'clock_input', phase: 'as_found', why: '' });
        const boiler = { id: 'b', address: '', name: '' };
        const pack = { boiler, as_of: '', visits: [], places: [], sheets: { '': [line('p'), line('q')] } };
        const draft = newDraft({ id: 'v', pack, kind: 'follow_up', person: { id: 'u' }, at: 0 });
        const passed = [];
        for (let step = nextStep(draft); step && passed.length < 9; step = nextStep(draft, step)) passed.push(step.id);
        return [passed, visitBody(draft, {}, 0).entries];
    }"""
    assert phone.page.evaluate(script) == [["s0", "s1"], []]


def test_the_answers_never_cover_a_first_act_or_a_caution_on_the_smallest_phone(take_along: TakeAlong) -> None:
    phone = take_along()
    phone.page.set_viewport_size({"width": 320, "height": 568})
    begin_check(phone)
    for given in ({}, {}, {"What did the burner do?": "KEPT FIRING"}):
        phone.answer(given)
    act = phone.page.get_by_role("alert").bounding_box()
    answers = phone.page.locator(".ask").bounding_box()
    caution = phone.page.locator(".caution").first.bounding_box()
    assert act
    assert answers
    assert caution
    assert act["y"] + act["height"] <= answers["y"]
    assert caution["y"] + caution["height"] <= answers["y"]
    assert phone.page.evaluate("getComputedStyle(document.querySelector('.ask')).position") == "static"
    assert phone.page.evaluate("document.documentElement.scrollWidth") == 320
