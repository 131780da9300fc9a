"""The alert feed."""

import re
from types import SimpleNamespace
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.utils import timezone
from playwright.sync_api import Browser, expect

from fleet.accounts import looks
from fleet.accounts.models import Grant
from fleet.alerts.models import Alert, AlertAct
from fleet.alerts.services import UNJUDGED
from fleet.jobs.models import Job
from fleet.portfolio.models import Boiler, Building, Portfolio
from fleet.web.alerts import alerts_page
from fleet.web.shared import pages
from tests.cast import DAY, NOW, Fleet, make_fleet, make_person
from tests.jobs.crew import crew
from tests.stories import story
from tests.web.conftest import SetClock, SignIn, take_session
from tests.web.markup import markup_of
from tests.web.test_board import Count, read

pytestmark = pytest.mark.django_db


@story
def told(fleet: Fleet) -> None:
    """A hold that began yesterday and was put right this morning, and one on the second boiler since an hour ago."""
    fleet.post(fleet.serviced(NOW - 30 * DAY), fleet.serviced(NOW - 30 * DAY, "ALD12 B2"), at=NOW - 29 * DAY)
    fleet.post(fleet.flushed(NOW - DAY, burner_stopped=False), at=NOW - DAY)
    fleet.post(fleet.repaired(NOW - DAY / 6), at=NOW - DAY / 6)
    fleet.post(fleet.flushed(NOW - DAY / 24, "ALD12 B2", burner_stopped=False), at=NOW - DAY / 24)


def items(body: str) -> list[str]:
    without_mark = re.sub(r'name="csrfmiddlewaretoken" value="\w+"', "", body)  # another one each time
    listed = re.sub(r'<details class="each".*?</ol></details>', "", without_mark.split('class="feed"')[1])
    return re.findall(r"<li.*?</li>", listed)


def holds(body: str) -> list[str]:
    """Those of the condition hold itself: its word is its level's."""
    return [item for item in items(body) if re.search(r'<br> ?<span class="level level-hold">', item)]


def test_the_newest_news_is_first_in_the_words_of_the_alarm_standards(told: Fleet, rosa: Client) -> None:
    words = [re.findall(r'class="what">([\w ]+)<', item)[0] for item in holds(read(rosa, "/alerts/"))]
    assert words == ["Raised", "Returned to normal"]


def test_a_returned_one_says_since_until_and_when_it_was_raised(told: Fleet, rosa: Client) -> None:
    back = holds(read(rosa, "/alerts/"))[-1]
    assert re.findall(r"<dt>(\w+)</dt>", back) == ["Since", "Until", "Raised"]
    assert "Sun 11 Jan 2026, 09:00 EST" in back


@pytest.mark.parametrize(
    ("role", "offered"),
    [
        ("technician", {"acknowledge"}),
        ("dispatcher", {"acknowledge", "shelve", "job"}),
        ("manager", {"acknowledge", "shelve", "job"}),
        ("caretaker", set()),
        ("inspector", set()),
    ],
)
def test_only_what_one_may_do_is_offered_and_only_of_what_is_raised(
    role: str, offered: set[str], told: Fleet, sign_in: SignIn, clock: SetClock
) -> None:
    body = read(sign_in(make_person("pat", told.portfolio, role)), "/alerts/")
    raised, back = holds(body)
    assert set(re.findall(r'action="/alerts/(\w+)/"|/(job)s/new/', raised)) == {
        (kind, "") if kind != "job" else ("", kind) for kind in offered
    }
    assert "<form" not in back


def send(client: Client, alert: Alert, kind: str, **fields: Any) -> Any:
    alert.refresh_from_db()
    return client.post(f"/alerts/{kind}/", {"alert": f"{alert.id}:{alert.version}", **fields})


@pytest.fixture
def raised(told: Fleet, clock: SetClock, monkeypatch: pytest.MonkeyPatch) -> Alert:
    monkeypatch.setattr(pages, "timezone", SimpleNamespace(now=lambda: NOW))
    found = Alert.objects.get(condition="hold", until=None)
    assert isinstance(found, Alert)
    return found


@pytest.fixture
def dana(told: Fleet, sign_in: SignIn) -> Client:
    return sign_in(make_person("dana", told.portfolio, "dispatcher"))


def test_acknowledged_and_shelved_on_the_page(raised: Alert, dana: Client) -> None:
    response = send(dana, raised, "acknowledge")
    assert (response.status_code, response["Location"]) == (302, f"/alerts/#alert-{raised.id}")
    assert send(dana, raised, "shelve", reason="Part <b>comes</b>.", until="2026-01-14T09:00").status_code == 302
    raised.refresh_from_db()
    assert raised.status == "shelved"
    body = read(dana, "/alerts/")
    assert "Shelved until</dt><dd>Wed 14 Jan 2026, 09:00 EST" in body
    assert "<b>comes" not in body


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"until": "2026-01-14T09:00"}, "Why: Give the reason in a sentence."),
        ({"reason": "Part comes."}, "Until: Until when?"),
        ({"reason": "Part comes.", "until": "2026-01-12T09:00"}, "Until: This must be after"),  # now
        ({"reason": "Part comes.", "until": "2026-04-12T10:01"}, "Until: An alert can be shelved for at most 90 days."),
    ],
)
def test_what_is_refused_is_said_beside_the_alert(
    fields: dict[str, str], said: str, raised: Alert, dana: Client
) -> None:
    response = send(dana, raised, "shelve", **fields)
    own = markup_of(response).split(f'id="alert-{raised.id}"')[1].split("</li>")[0]
    assert response.status_code == 422
    assert said in own
    assert 'role="alert"' in own
    assert AlertAct.objects.count() == 0


def test_two_who_looked_at_the_same_feed_do_not_overwrite_each_other(raised: Alert, dana: Client) -> None:
    assert send(dana, raised, "acknowledge").status_code == 302
    response = dana.post("/alerts/acknowledge/", {"alert": f"{raised.id}:1"})
    assert response.status_code == 412
    assert "Somebody changed this in the meantime" in response.content.decode()


@pytest.mark.parametrize(("who", "status"), [("technician", 403), ("caretaker", 403), ("outsider", 404)])
def test_nobody_shelves_who_may_not(who: str, status: int, told: Fleet, raised: Alert, sign_in: SignIn) -> None:
    response = send(sign_in(getattr(told, who)), raised, "shelve", reason="x", until="2026-01-14T09:00")
    assert (response.status_code, AlertAct.objects.count()) == (status, 0)


def test_nothing_is_done_without_signing_in_or_the_forms_mark(told: Fleet, raised: Alert) -> None:
    assert send(Client(), raised, "acknowledge")["Location"] == "/sign-in/?next=/alerts/"
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(told.technician)
    assert (send(strict, raised, "acknowledge").status_code, AlertAct.objects.count()) == (403, 0)


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ("raised=now", ["Raised"]),
        ("condition=hold", ["Raised", "Returned to normal"]),
        ("condition=hold&raised=now", ["Raised"]),
        ("condition=never_heard_of", []),
    ],
)
def test_the_feed_is_narrowed_by_its_address(asked: str, words: list[str], told: Fleet, rosa: Client) -> None:
    body = read(rosa, f"/alerts/?{asked}")
    found = [re.findall(r'class="what">([\w ]+)<', item)[0] for item in holds(body)] if words else []
    assert (found, "No matching alert" in body) == (words, not words)


def test_the_feed_is_narrowed_to_a_portfolio(told: Fleet, sign_in: SignIn, clock: SetClock) -> None:
    other = Portfolio.objects.create(ref="HARROW", name="Harrow House")
    dana = make_person("dana", told.portfolio, "dispatcher")
    Grant.objects.create(user=dana, portfolio=other, role="dispatcher")
    client = sign_in(dana)
    assert "No matching alert" in read(client, f"/alerts/?portfolio={other.id}")
    assert len(holds(read(client, f"/alerts/?portfolio={told.portfolio.id}"))) == 2


def news(client: Client) -> tuple[int, str]:
    """How many entries are marked as new, and what the head says."""
    body = read(client, "/alerts/")
    marked = [c for item in items(body) for c in re.findall(r"<li[^>]* class=\"([^\"]*)\"", item)[:1] if "new" in c]
    return len(marked), body.split('class="freshness">')[1].split("</p>")[0]


def test_what_is_new_stays_so_until_its_reader_says_they_have_looked(
    told: Fleet, rosa: Client, clock: SetClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pages, "timezone", SimpleNamespace(now=lambda: NOW + 9 * DAY))
    assert news(rosa)[0] == 0  # who never said so has nothing to set it against
    rosa.post("/alerts/looked/", {"shown": NOW.isoformat()})
    assert news(rosa) == (0, "Nothing began or returned to normal since you last looked, Mon 12 Jan 2026, 14:00 UTC")
    told.post(told.flushed(NOW + DAY, burner_stopped=False), at=NOW + DAY)
    clock(NOW + 8 * DAY)
    first, again = news(rosa), news(rosa)
    assert first[0] > 0
    assert first == again
    assert "since you last looked, Mon 12 Jan 2026, 14:00 UTC" in first[1]
    rosa.post("/alerts/looked/", {"shown": (NOW + 8 * DAY).isoformat()})
    assert news(rosa)[0] == 0


def test_an_older_page_takes_nothing_back_and_hides_nothing_written_after_it(
    told: Fleet, rosa: Client, clock: SetClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pages, "timezone", SimpleNamespace(now=lambda: NOW + 2 * DAY))
    told.post(told.flushed(NOW + DAY, burner_stopped=False), at=NOW + DAY)
    rosa.post("/alerts/looked/", {"shown": NOW.isoformat()})  # drawn before that flush was posted
    assert news(rosa)[0] > 0
    for shown in (NOW + 2 * DAY, NOW):  # a newer tab, then the older one
        rosa.post("/alerts/looked/", {"shown": shown.isoformat()})
    assert looks.looked_until(told.technician) == NOW + 2 * DAY


def test_nobody_has_looked_at_what_is_still_to_come(told: Fleet, raised: Alert, rosa: Client) -> None:
    rosa.post("/alerts/looked/", {"shown": (NOW + DAY).isoformat()})
    assert looks.looked_until(told.technician) == NOW


def test_a_look_is_ones_own_in_every_browser(told: Fleet, raised: Alert, rosa: Client, sign_in: SignIn) -> None:
    rosa.post("/alerts/looked/", {"shown": NOW.isoformat()})
    assert "since you last looked" in news(sign_in(told.technician))[1]
    assert "since you last looked" not in news(sign_in(told.caretaker))[1]


@pytest.mark.parametrize("shown", ["", "yesterday", "2026-01-12T09:00:00"])
def test_a_look_without_an_instant_is_refused(shown: str, raised: Alert, rosa: Client) -> None:
    assert rosa.post("/alerts/looked/", {"shown": shown}).status_code == 400


@pytest.fixture
def eight(told: Fleet, raised: Alert) -> list[Alert]:
    """Eight of one boiler and a condition that no judging takes away, one of them urgent, one raised a day later."""
    kept = {"portfolio": told.portfolio, "boiler": told.bench().boiler, "condition": UNJUDGED}
    made = []
    for n in range(8):
        at = NOW - (2 - (n == 7)) * DAY
        level = "urgent" if n == 5 else "routine"
        own = {"subject": uuid4(), "since": at, "raised_at": at, "level": level, "sentence": f"Test {n} lapsed."}
        made.append(Alert.objects.create(**kept, **own))
    return made


def heaped(body: str) -> list[str]:
    return [item for item in items(body) if "Could not be judged" in item]


def test_near_equal_alerts_stand_under_one_heading_the_worst_first(eight: list[Alert], dana: Client) -> None:
    body = read(dana, "/alerts/")
    (entry,) = heaped(body)
    assert "8 &times;" in entry
    assert "Test 5 lapsed." in entry
    assert "level-urgent" in entry
    assert "Acknowledge all 8" in entry
    assert "Shelve all 8" in entry
    fold = body.split('<details class="each">')[1].split("</ol>")[0]
    each = re.findall(r"<p>(Test \d lapsed\.)</p>", fold)
    assert each == ["Test 5 lapsed.", *(f"Test {n} lapsed." for n in (0, 1, 2, 3, 4, 6, 7))]


def test_one_heading_is_of_one_boiler_one_condition_and_what_is_shelved_or_over_apart(
    eight: list[Alert], dana: Client
) -> None:
    Alert.objects.filter(id=eight[0].id).update(shelved_until=NOW + DAY)
    Alert.objects.filter(id=eight[1].id).update(until=NOW, returned_at=NOW)
    Alert.objects.filter(id=eight[2].id).update(condition="past_its_date")
    Alert.objects.filter(id=eight[3].id).update(boiler=Boiler.objects.get(building__ref="ALD12", ref="B2"))
    counts = [re.findall(r"(\d+) &times;", item) for item in heaped(read(dana, "/alerts/"))]
    assert sorted(counts) == [[], [], [], ["4"]]


def test_the_jobs_of_one_building_stand_under_one_heading_and_lead_to_each_job(raised: Alert, told: Fleet) -> None:
    office = crew(told)
    asked = (("upper", "slow_drain"), ("limit", "limit_trip"), ("valve", "lever_lift"))
    made = [office.make(one) for one in asked]
    elsewhere = Building.objects.create(portfolio=told.portfolio, ref="X", address="X", zone="UTC")
    Job.objects.filter(id=made[2].id).update(building=elsewhere)
    kept = {"portfolio": told.portfolio, "condition": "job_not_planned", "level": "routine"}
    Alert.objects.bulk_create(
        Alert(**kept, subject=job.id, since=NOW, raised_at=NOW, sentence=f"Job {n} is not planned.")
        for n, job in enumerate(made)
    )
    client = Client()
    client.force_login(office.dispatcher)
    body = read(client, "/alerts/?condition=job_not_planned")
    assert sorted(re.findall(r"(\d+) &times;", item) for item in items(body)) == [[], ["2"]]
    assert sorted(re.findall(r'#job-([\w-]+)">The job', body)) == sorted(str(job.id) for job in made[:2])
    assert "Make a job" not in body
    assert body.count(f'href="/buildings/{made[0].building_id}/"') == 1


def test_what_returned_of_the_jobs_of_one_building_stands_under_one_heading_for_each_week(
    raised: Alert, told: Fleet
) -> None:
    office = crew(told)
    job = office.make(("upper", "slow_drain"))
    monday = NOW.replace(hour=0, minute=0)  # a Monday
    for back in (monday - DAY / 24, monday, monday + 2 * DAY, monday + 7 * DAY - DAY / 24):
        times = {"since": back - DAY, "raised_at": back - DAY, "until": back, "returned_at": back}
        kept = {"portfolio": told.portfolio, "condition": "job_not_planned", "level": "routine", "subject": job.id}
        Alert.objects.create(**kept, **times, sentence="Not planned yet.")
    client = Client()
    client.force_login(office.dispatcher)
    entry, before = items(read(client, "/alerts/?condition=job_not_planned"))
    assert "Returned to normal" in entry
    assert "3 &times;" in entry
    assert "&times;" not in before
    ends = re.findall(r"Until</dt><dd>(.*?)</dd>", entry)
    assert ends == ["Sun 11 Jan 2026, 19:00 EST, the last Sun 18 Jan 2026, 18:00 EST"]


def test_all_of_one_heading_are_acknowledged_or_shelved_at_once(eight: list[Alert], dana: Client) -> None:
    named = {"alert": [f"{a.id}:1" for a in eight]}
    response = dana.post("/alerts/acknowledge/", named)
    assert response["Location"] == f"/alerts/#alert-{eight[0].id}"
    assert {a.status for a in Alert.objects.filter(condition=UNJUDGED)} == {"acknowledged"}
    versions = Alert.objects.filter(condition=UNJUDGED).values_list("id", "version")
    named = {"alert": [f"{i}:{version}" for i, version in versions], "reason": "In hand.", "until": "2026-01-14T09:00"}
    assert dana.post("/alerts/shelve/", named).status_code == 302
    assert {a.status for a in Alert.objects.filter(condition=UNJUDGED)} == {"shelved"}


def test_one_that_changed_meanwhile_is_named_and_the_others_are_done(eight: list[Alert], dana: Client) -> None:
    Alert.objects.filter(id=eight[4].id).update(version=2)
    response = dana.post("/alerts/acknowledge/", {"alert": [f"{a.id}:1" for a in eight]})
    own = markup_of(response).split(f'id="alert-{eight[4].id}"')[1].split("</li>")[0]
    assert response.status_code == 412
    assert "Somebody changed this in the meantime" in own
    assert AlertAct.objects.count() == 7


def test_nothing_is_done_where_one_of_several_is_not_seen(eight: list[Alert], dana: Client) -> None:
    for other in (f"{uuid4()}:1", ""):
        named = [f"{a.id}:1" for a in eight] if other else []
        assert dana.post("/alerts/acknowledge/", {"alert": [*named, other]}).status_code == 404
    assert AlertAct.objects.count() == 0


def test_an_alert_is_acknowledged_by_keyboard_alone(transactional_db: Any, live_server: Any, browser: Browser) -> None:
    fleet, at = make_fleet(), timezone.now()
    fleet.post(fleet.flushed(at - DAY, burner_stopped=False), at=at)
    page = browser.new_page(viewport={"width": 1280, "height": 800})
    take_session(page.context, make_person("mona", fleet.portfolio, "manager"), live_server.url)
    page.goto(f"{live_server.url}/alerts/?condition=hold")
    page.get_by_role("button", name="Acknowledge").focus()
    page.keyboard.press("Enter")
    expect(page.locator(".feed .what")).to_have_text("Acknowledged")


def test_the_clock_is_read_at_the_door() -> None:
    assert pages.timezone is timezone


def test_a_long_feed_has_pages(told: Fleet, rosa: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = items(read(rosa, "/alerts/"))
    monkeypatch.setattr(alerts_page, "PER_PAGE", 1)
    assert 'rel="next">Older' in read(rosa, "/alerts/")
    assert [items(read(rosa, f"/alerts/?page={n}"))[0] for n in range(1, len(whole) + 1)] == whole


def test_an_empty_feed_explains_itself(fleet: Fleet, sign_in: SignIn, clock: SetClock) -> None:
    empty = Portfolio.objects.create(ref="HARROW", name="Harrow House")
    assert "No alert has been raised yet" in read(sign_in(make_person("piet", empty, "manager")), "/alerts/")


def test_what_a_portfolio_as_a_whole_is_told_of_stands_in_the_feed(fleet: Fleet, rosa: Client) -> None:
    (item,) = items(read(rosa, "/alerts/"))
    assert "Sorrelgate Homes" in item
    assert "2 boilers have not been surveyed" in item


def test_a_building_without_heat_stands_in_the_feed_and_on_its_boilers_pages(told: Fleet, rosa: Client) -> None:
    told.post(told.flushed(NOW, burner_stopped=False))
    assert "12 Alder Terrace is without heat" in read(rosa, "/alerts/")
    assert "12 Alder Terrace is without heat" in read(rosa, f"/boilers/{told.bench().boiler.id}/")


# session, user; the last look; portfolios; how many entries, the page's, their alerts with boiler and building;
# what may be done (two), buildings, where jobs may be made; conditions
PAGE = 12


@pytest.mark.parametrize("more", [0, 10])
def test_what_the_feed_costs(more: int, told: Fleet, rosa: Client, django_assert_num_queries: Count) -> None:
    kept = {"portfolio": told.portfolio, "boiler": told.bench().boiler, "level": "routine", "raised_at": NOW}
    Alert.objects.bulk_create(Alert(condition=f"made_{n}", subject=uuid4(), since=NOW, **kept) for n in range(more))
    with django_assert_num_queries(PAGE):
        rosa.get("/alerts/")
