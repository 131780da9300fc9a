"""The status board: what it shows, in which order, and what it costs."""

import re
from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import Any

import pytest
from django.test import Client

from fleet import pipeline
from fleet.accounts.models import Grant
from fleet.board import board_pages
from fleet.board.models import ProofGlass, Segment
from fleet.calendar import day_of
from fleet.deficiencies.acts import DeficiencyDecision
from fleet.portfolio.models import Boiler, Building, Portfolio, ServiceState
from fleet.rules.values import Standing
from tests.cast import DAY, NOW, Fleet, make_fleet, make_person
from tests.jobs.crew import crew, held
from tests.stories import story
from tests.web.conftest import SetClock, SignIn
from tests.web.markup import markup_of

pytestmark = pytest.mark.django_db

Count = Callable[[int], AbstractContextManager[Any]]


def read(client: Client, address: str = "/") -> str:
    return markup_of(client.get(address))


def words(body: str) -> str:
    """Without its tags."""
    return re.sub(r"<[^>]*>", "", body)


def section(body: str, code: str) -> str:
    return body.split(f'id="group-{code}"')[1].split("</section>")[0]


@story
def one_each(fleet: Fleet) -> None:
    """The first boiler of Alder Terrace on hold after a failed flush, the second clear."""
    for key in ("ALD12 B1", "ALD12 B2"):
        fleet.post(fleet.serviced(NOW - 30 * DAY, key), fleet.flushed(NOW - DAY, key))
    fleet.post(fleet.flushed(NOW, "ALD12 B1", burner_stopped=False))


def test_the_worst_comes_first(one_each: Fleet, rosa: Client) -> None:
    main = section(read(rosa), "in_service")
    assert main.index("standing-hold") < main.index("standing-clear")


def test_a_row_says_where_why_what_next_and_since_when(one_each: Fleet, rosa: Client) -> None:
    row = section(read(rosa), "in_service").split("</li>")[0]
    for words in ("12 Alder Terrace", "Boiler 1", "Switch the burner off by hand now.", "Mon 12 Jan 2026"):
        assert words in row


def test_a_standing_is_a_word_and_a_mark_and_never_colour_alone(one_each: Fleet, rosa: Client) -> None:
    row = section(read(rosa), "in_service").split("</li>")[0]
    assert re.search(r'class="standing standing-hold"><svg[^>]*><use href="#mark-hold"></use></svg>Hold</span>', row)


def test_every_standing_has_a_mark_of_its_own(rosa: Client) -> None:
    marks = re.findall(r'<symbol id="mark-(\w+)".*?>(.*?)</symbol>', read(rosa))
    assert len({shape for _, shape in marks}) == len(marks) == 8


def test_the_head_counts_every_standing(one_each: Fleet, rosa: Client) -> None:
    counts = re.findall(r"</svg>([\w ]+)</span> ?</dt><dd>(\d+)</dd>", read(rosa))
    expected = {"Hold": 1, "Exposed": 0, "Impaired": 0, "Due": 0, "Clear": 1, "Not surveyed": 0, "Off": 0}
    assert {standing: int(count) for standing, count in counts} == expected


def test_not_surveyed_stands_apart(fleet: Fleet, rosa: Client) -> None:
    assert section(read(rosa), "not_surveyed").count("<li") == 2
    assert "<li" not in section(read(rosa), "in_service")


def test_off_stands_apart(fleet: Fleet, rosa: Client) -> None:
    bench = fleet.bench()
    ServiceState.objects.create(
        portfolio=fleet.portfolio, boiler=bench.boiler, state="laid_up_dry", since=NOW - DAY, posted_at=NOW - DAY
    )
    fleet.post(fleet.flushed(NOW - 2 * DAY))
    assert "The boiler is laid up dry." in section(read(rosa), "off")


def test_the_day_is_the_buildings_own(one_each: Fleet, rosa: Client) -> None:
    # Nine in the morning in New York is already the next day in Kiritimati.
    Building.objects.update(zone="Pacific/Kiritimati")
    assert "Tue 13 Jan 2026" in section(read(rosa), "in_service").split("</li>")[0]


def test_open_alerts_are_counted(one_each: Fleet, rosa: Client) -> None:
    assert re.search(r"\d+ alerts?<span", section(read(rosa), "in_service").split("</li>")[0])


def test_names_from_the_register_are_text_and_never_markup(fleet: Fleet, rosa: Client) -> None:
    Building.objects.update(address='<script>alert("x")</script>')
    body = read(rosa)
    assert "<script>alert" not in body
    assert "&lt;script&gt;alert" in body


def test_further_reasons_are_counted(fleet: Fleet, rosa: Client) -> None:
    fleet.post(fleet.serviced(NOW - 600 * DAY))
    assert re.search(r"and \d+ more", section(read(rosa), "in_service"))


def test_a_portfolio_without_boilers_says_how_they_come(fleet: Fleet, sign_in: SignIn, clock: SetClock) -> None:
    empty = Portfolio.objects.create(ref="EMPTY", name="Empty Homes")
    Grant.objects.create(user=fleet.outsider, portfolio=empty, role="manager")
    assert "No boiler is on record yet" in read(sign_in(fleet.outsider))


def lengthened(fleet: Fleet, count: int, standing: str = "clear") -> None:
    """Boilers without anything in them, each with its standing: rows of their own beside those of the cast."""
    house, more = Building.objects.earliest("ref"), {"portfolio": fleet.portfolio}
    made = [
        Boiler(building=house, ref=f"X{standing}{n}", name=f"Extra {n:03}", since=NOW, **more) for n in range(count)
    ]
    Boiler.objects.bulk_create(made)
    said = {"standing": standing, "rank": Standing(standing).rank, "then": "", "reasons": [{"sentence": "As it is."}]}
    Segment.objects.bulk_create([Segment(boiler=b, **said, **more) for b in made])


@pytest.fixture
def pages_of_ten(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(board_pages, "PER_PAGE", 10)


def pages(body: str) -> tuple[list[str], str]:
    """Where the neighbouring pages are, and what is said of this one."""
    nav = body.split('<nav id="pages"')[1].split("</nav>")[0]
    return re.findall(r'href="([^"]*)"', nav), re.findall(r"<span>(.*?)</span>", nav)[0]


@pytest.mark.parametrize(("count", "links"), [(7, []), (8, []), (9, ["/?page=2"])])
def test_a_page_holds_so_many_boilers_and_the_others_are_one_link_away(
    count: int, links: list[str], pages_of_ten: None, fleet: Fleet, rosa: Client
) -> None:
    lengthened(fleet, count)
    body = read(rosa)
    assert (len(re.findall('<li class="row[" ]', body)), pages(body)[0]) == (min(count + 2, 10), links)


def test_over_all_pages_each_boiler_stands_once_the_worst_first(pages_of_ten: None, fleet: Fleet, rosa: Client) -> None:
    for standing, count in (("due", 9), ("hold", 4), ("off", 6)):
        lengthened(fleet, count, standing)
    bodies = [read(rosa, f"/?page={n}") for n in (1, 2, 3)]
    ids = [i for body in bodies for i in re.findall(r'<li class="row[^"]*" id="([^"]*)"', body)]
    ranks = [
        s for body in bodies for s in re.findall(r'class="row-standing"> ?<span class="standing standing-(\w+)"', body)
    ]
    assert (len(ids), len(set(ids))) == (21, 21)
    assert ranks == ["hold"] * 4 + ["due"] * 9 + ["not_surveyed"] * 2 + ["off"] * 6
    assert [pages(body)[1] for body in bodies][1:] == [
        "11 to 20 of 21, the worst first",
        "21 to 21 of 21, the worst first",
    ]
    assert pages(bodies[1])[0] == ["/?", "/?page=3"]
    assert all("<dd>9</dd>" in body and "<dd>6</dd>" in body for body in bodies)  # counted over all pages


@pytest.mark.parametrize("asked", ["page=99", "page=2", "page=2&page=3"])
def test_a_page_beyond_the_last_is_the_last(asked: str, pages_of_ten: None, fleet: Fleet, rosa: Client) -> None:
    lengthened(fleet, 9)
    assert pages(read(rosa, f"/?{asked}"))[1] == "11 to 11 of 11, the worst first"


@pytest.mark.parametrize("asked", ["page=0", "page=-1", "page=x", "page=99999999"])
def test_what_is_no_page_is_the_first(asked: str, pages_of_ten: None, fleet: Fleet, rosa: Client) -> None:
    lengthened(fleet, 9)
    assert pages(read(rosa, f"/?{asked}"))[1] == "1 to 10 of 11, the worst first"


def test_a_narrowed_board_keeps_what_was_asked_on_its_pages(pages_of_ten: None, fleet: Fleet, rosa: Client) -> None:
    lengthened(fleet, 12)
    lengthened(fleet, 3, "hold")
    body = read(rosa, "/?standing=clear&q=extra")
    assert pages(body) == (["/?q=extra&amp;standing=clear&amp;page=2"], "1 to 10 of 12, the worst first")
    assert 'hx-get="/board/rows/?q=extra&amp;standing=clear"' in body
    assert "<dd>3</dd>" in body  # the standings that are not asked for are counted too


@pytest.mark.parametrize(
    ("asked", "shown"),
    [
        ("q=alder", 2),
        ("q=ALD12+boiler", 2),
        ("q=alder+nowhere", 0),
        ("q=nowhere", 0),
        ("standing=hold", 1),
        ("standing=exposed", 0),
        ("standing=nonsense&portfolio=nonsense", 2),
    ],
)
def test_the_board_is_narrowed_by_its_address(asked: str, shown: int, one_each: Fleet, rosa: Client) -> None:
    body = read(rosa, f"/?{asked}")
    assert len(re.findall('<li class="row[" ]', body)) == shown
    assert ("No matching boiler" in body) == (shown == 0)


def test_a_board_is_narrowed_to_a_portfolio(one_each: Fleet, sign_in: SignIn, clock: SetClock) -> None:
    other = Portfolio.objects.create(ref="HARROW", name="Harrow House")
    dana = make_person("dana", one_each.portfolio, "dispatcher")
    Grant.objects.create(user=dana, portfolio=other, role="dispatcher")
    boards = [read(sign_in(dana), f"/?portfolio={portfolio.id}") for portfolio in (one_each.portfolio, other)]
    assert [len(re.findall('<li class="row[" ]', page)) for page in boards] == [2, 0]


def test_a_row_says_who_is_on_it(fleet: Fleet, sign_in: SignIn, clock: SetClock) -> None:
    office = crew(fleet)
    deficiency = held(fleet)
    dana = sign_in(office.dispatcher)
    house = deficiency.boiler.building_id
    assert f'Nobody is on it<span class="row-make">: <a href="/jobs/new/?building={house}">' in read(dana)
    decision = DeficiencyDecision("assigned", until=NOW + DAY, assignee=fleet.technician.id)
    given = {"deficiency": deficiency.id, "decision": decision, "version": deficiency.version}
    pipeline.act_on_deficiency(**given, by=office.dispatcher, at=NOW)
    assert "Assigned to rosa, by Tue 13 Jan 2026" in words(read(dana))
    office.plan(office.make(deficiencies=[deficiency.id]))
    told = words(section(read(dana), "in_service"))
    assert "Job planned: rosa, Tue 13 Jan 2026, 09:00 EST" in told
    assert "Nobody is on it" not in told


def test_who_does_not_see_the_jobs_is_not_told_that_there_is_none(
    fleet: Fleet, sign_in: SignIn, clock: SetClock
) -> None:
    office = crew(fleet)
    office.make(deficiencies=[held(fleet).id])
    told = section(read(sign_in(fleet.caretaker)), "in_service")
    assert "/jobs/" not in told
    assert "Nobody is on it" not in told


def test_a_row_has_its_proof_glass_in_a_drawing_and_in_words(one_each: Fleet, rosa: Client) -> None:
    row = section(read(rosa), "in_service").split("</li>")[0]
    glass = ProofGlass.objects.get(boiler=one_each.bench().boiler)
    left = (day_of(glass.exposed_at, "America/New_York") - NOW.date()).days
    assert f"{left} days of proof left: dry firing is exposed from" in row
    assert '<use href="#glass"/>' in row
    assert "style=" not in row


def test_the_legend_says_what_the_glass_is_not(one_each: Fleet, rosa: Client) -> None:
    assert "days of proof left, not water" in read(rosa)


# session, user; for the ETag of its rows: grants, zones, pulses, last boundary, newest alert; grants, portfolios,
# counts, order, rows with their buildings, time zones; alerts per boiler, glasses, jobs, assignments; whether a visit
# waits for one's own word; what is behind
PAGE = 19
# session, user; for the ETag: grants, zones, pulses, last boundary, newest alert; what the page needs, that word aside
ROWS = 17
# the same without what the rows need
NOT_MODIFIED = 7


@pytest.mark.parametrize("buildings", [("ALD12",), ("ALD12", "QUA48", "WEA07", "HOP33", "MIL90")])
def test_what_the_board_costs_does_not_grow_with_it(
    db: Any,
    buildings: tuple[str, ...],
    sign_in: SignIn,
    clock: SetClock,
    django_assert_num_queries: Count,
) -> None:
    fleet = make_fleet(*buildings)
    lengthened(fleet, 18 if len(buildings) > 1 else 0)
    client = sign_in(fleet.technician)
    with django_assert_num_queries(PAGE):
        held_by = re.findall(r'data-tag="&quot;(\w+)&quot;"', client.get("/").content.decode())
    with django_assert_num_queries(ROWS):
        tag = client.get("/board/rows/")["ETag"]
    assert held_by == [tag.strip('"')]  # the page is as good as its rows: a first refresh is 304 too
    with django_assert_num_queries(NOT_MODIFIED):
        assert client.get("/board/rows/", headers={"If-None-Match": tag}).status_code == 304
