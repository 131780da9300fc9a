"""The boiler page: the standing with all its reasons, each leading to what it rests on, and what time will bring."""

import re
from datetime import UTC, datetime

import pytest
from django.test import Client
from django.utils.html import escape

from fleet.board.models import Judged
from fleet.rules.wording import ADVICE_CAUTION
from tests.cast import DAY, NOW, Fleet, make_person
from tests.stories import story
from tests.web.conftest import SignIn
from tests.web.test_board import Count, read

pytestmark = pytest.mark.django_db


@story
def held(fleet: Fleet) -> None:
    """Serviced a month ago, on hold since this morning's flush."""
    fleet.post(fleet.serviced(NOW - 30 * DAY), fleet.flushed(NOW - DAY))
    fleet.post(fleet.flushed(NOW - DAY / 24, burner_stopped=False))


@pytest.fixture
def body(held: Fleet, rosa: Client) -> str:
    return read(rosa, f"/boilers/{held.bench().boiler.id}/")


def part(body: str, heading: str) -> str:
    return re.split("</(?:section|details)>", body.split(f'aria-labelledby="{heading}"')[1])[0]


def row(body: str, position: str) -> str:
    return part(body, "places").split(f'<th scope="row">{position}</th>')[1].split("</tr>")[0]


def test_the_first_act_stands_first_and_whole(body: str) -> None:
    assert "<strong>Switch the burner off by hand now.</strong>" in part(body, "do")
    assert "a licensed person decide." in part(body, "do")


def test_the_proof_glass_says_what_it_is_not_and_when_it_waits(held: Fleet, body: str, rosa: Client) -> None:
    beside = body.split('class="proof"')[1].split('class="two"')[0]
    for said in ('<use href="#glass"/>', "of proof left, not water", "the hold has another cause."):
        assert said in beside
    Judged.objects.update(build="r0.c1.t1")
    address = f"/boilers/{held.bench().boiler.id}/"
    for page in (read(rosa, address), read(rosa, "/"), rosa.get("/wall/").getvalue().decode()):
        assert '<use href="#glass-waiting"/>' in page
        assert "being worked out" in page.lower()


def test_a_reason_leads_to_the_entry_it_rests_on(body: str, held: Fleet, rosa: Client) -> None:
    link = re.search(r'href="(/visits/[\w-]+/)#(entry-\d+)"', part(body, "why"))
    assert link is not None
    assert f'id="{link[2]}"' in read(rosa, link[1])


def test_positions_say_state_until_when_and_what_they_hang_on(body: str) -> None:
    upper, limit = row(body, "Upper cutoff"), row(body, "High limit")
    assert "Failed" in upper
    assert "float chamber" in upper
    assert "Proven" in limit
    assert "Fri 01 Oct 2027" in limit or "Thu 01 Oct 2026" in limit


def test_an_open_deficiency_says_its_class_first_act_and_what_closes_it(body: str) -> None:
    found = part(body, "open")
    assert 'class="level level-hold"' in found
    assert "Switch the burner off by hand now." in found


def test_what_time_alone_brings_is_told_in_order(held: Fleet, rosa: Client) -> None:
    held.post(held.repaired(NOW))
    course = part(read(rosa, f"/boilers/{held.bench().boiler.id}/"), "course")
    assert re.findall(r"mark-(\w+)", course)[0] == "due"


def test_hazards_without_a_protection_are_said_in_words(body: str) -> None:
    told = "No protection is on record here against fuel not shut and flue gas in the building."
    assert told in part(body, "why")
    assert "against overfilling" not in body


def test_recent_visits_are_newest_first_with_their_answer(body: str) -> None:
    told = part(body, "recent").split("</summary>")[1]
    listed = re.findall(r"(\w+ check|Annual service), \w{3} (\d\d \w{3} \d{4})", told)
    assert [day for _, day in listed] == ["12 Jan 2026", "11 Jan 2026", "13 Dec 2025"]
    assert "Nothing found by this visit" in part(body, "recent")


def test_the_caution_stands_once_and_before_all_advice(body: str) -> None:
    sheet = body.split("<main")[1]
    assert sheet.count(escape(ADVICE_CAUTION)) == 1
    assert sheet.index(escape(ADVICE_CAUTION)) < sheet.index("<h1")


def test_what_leaving_it_costs_names_each_hazard_once_with_its_day(held: Fleet, rosa: Client) -> None:
    address = f"/boilers/{held.bench().boiler.id}/"
    # The upper cutoff failed and the lower one stands: nothing is bare already.
    assert "stands bare already" not in part(read(rosa, address), "course")
    held.post(held.repaired(NOW))
    told = part(read(rosa, address), "course").split("</ul>")[0]
    assert told.count("<strong>Over pressure</strong> stands bare from") == 1
    assert told.count("<strong>Dry firing</strong> stands bare from") == 1


def test_the_past_of_a_position_is_the_newest_ten_and_leads_to_the_older_ones(held: Fleet, rosa: Client) -> None:
    held.post(*(held.flushed(NOW - n * 7 * DAY) for n in range(6, 16)))
    upper = held.bench().places["upper"]
    body = read(rosa, f"/boilers/{held.bench().boiler.id}/")
    fold = body.split(f'id="past-{upper}"')[1].split("</details>")[0]
    days = [
        datetime.strptime(d, "%d %b %Y").replace(tzinfo=UTC) for d in re.findall(r"\w{3} (\d\d \w{3} \d{4})</a>", fold)
    ]
    assert len(days) == 10
    assert days == sorted(days, reverse=True)
    assert 'Flush</strong> <span class="worth worth-fail">fail' in fold
    older = re.search(r'href="(/boilers/[\w/-]+\?before=[\w-]+)"', fold)
    assert older is not None
    rest = read(rosa, older[1])
    assert len(re.findall(r'<li><a href="/visits/', rest)) == 5  # fourteen flushes and a drain, less ten
    assert "Newest</a>" in rest


def test_a_place_of_another_boiler_is_as_unknown(held: Fleet, rosa: Client) -> None:
    here, there = held.bench(), held.bench("ALD12 B2")
    assert rosa.get(f"/boilers/{here.boiler.id}/positions/{there.places['upper']}/").status_code == 404
    assert rosa.get(f"/boilers/{here.boiler.id}/positions/{here.places['upper']}/?before=x").status_code == 404


def test_doors_stand_open_only_for_who_may_go_through(held: Fleet, rosa: Client, sign_in: SignIn) -> None:
    address = f"/boilers/{held.bench().boiler.id}/"
    sheet, register = (
        f'href="/sheet/#{address.removesuffix("/").replace("boilers", "boiler")}"',
        f'href="/register{address}"',
    )
    office = read(sign_in(make_person("ines", held.portfolio, "office")), address)
    technician = read(rosa, address)
    assert sheet in technician
    assert register not in technician
    assert sheet not in office
    assert register in office
    assert "History of each position" not in office
    assert "History of each position" in technician


# session, user, boiler; segments from now on; release, states, paths' settings, paths' names; deficiencies, release for
# their first acts; may visits be read, visits, people, their users, readiness, where the entries stand; alerts
# the proof glass; the numbers: places, entries, readings, settings, fittings, terms
# the columns: what filled each place (two), the release, the newest passes; the pasts: release, entries, readings
# papers of others
PAGE = 35


def test_what_the_page_costs(held: Fleet, rosa: Client, django_assert_num_queries: Count) -> None:
    address = f"/boilers/{held.bench().boiler.id}/"
    with django_assert_num_queries(PAGE):
        rosa.get(address)
