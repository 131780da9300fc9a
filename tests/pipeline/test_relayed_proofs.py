"""What an operator told the desk renews an operator proof and is marked so, wherever the proof stands."""

from dataclasses import replace
from datetime import datetime, timedelta
from uuid import UUID

import pytest
from django.test import Client

from fleet import pipeline
from fleet.accounts.models import Grant, User
from fleet.assessments.models import Verdict
from fleet.assessments.report import report_data
from fleet.board.models import StateSegment
from fleet.portfolio.models import Building
from fleet.rules.vocabulary import NameReply
from fleet.visits.incoming import IncomingVisit, Person
from fleet.visits.models import Visit
from tests.cast import DAY, NOW, Fleet, make_person

pytestmark = pytest.mark.django_db
MARK = "Relayed: said by Bram Calder, entered by Dana Ruiz."


@pytest.fixture
def desk(fleet: Fleet) -> Fleet:
    """Serviced 40 days ago, so that a flush is due. Bram is an operator, Dana at the desk, Nora a technician."""
    fleet.post(fleet.serviced(NOW - 40 * DAY), at=NOW - 40 * DAY)
    make_person("nora", fleet.portfolio, "technician", "technician")
    dana = make_person("dana", fleet.portfolio, "dispatcher")
    for user, first, last in ((fleet.caretaker, "Bram", "Calder"), (dana, "Dana", "Ruiz")):
        User.objects.filter(id=user.id).update(first_name=first, last_name=last)
    return fleet


def told(fleet: Fleet, by: str, *named: str, at: datetime = NOW - DAY) -> IncomingVisit:
    """A flush that passed, posted by somebody who names others."""
    people = tuple(Person(user=User.objects.get(username=name).id) for name in named)
    visit = replace(fleet.flushed(at), people=people)
    pipeline.post_visits([visit], by=User.objects.get(username=by), at=at)
    return visit


def flush_of(visit: UUID) -> Verdict:
    return Verdict.objects.get(entry__visit=visit, entry__code="flush", entry__position__ref="upper")


def state(fleet: Fleet) -> str:
    place = fleet.bench().places["upper"]
    segment = StateSegment.objects.filter(position=place, since__lte=NOW).exclude(until__lte=NOW)
    return segment.get().state


@pytest.mark.parametrize(
    ("by", "named", "proves", "is_marked"),
    [
        ("bram", "bram", "partial", False),
        ("dana", "bram", "partial", True),
        ("nora", "bram", "", False),
        ("nora", "nora bram", "partial", False),  # the technician's own word carries it
        ("dana", "nora", "", False),
    ],
)
def test_only_what_rests_on_an_operators_word_told_to_the_desk_is_marked(
    desk: Fleet, by: str, named: str, proves: str, is_marked: bool
) -> None:
    verdict = flush_of(told(desk, by, *named.split()).id)
    assert (verdict.proves, verdict.relayed_from) == (proves, [str(desk.caretaker.id)] if is_marked else [])


def test_a_flush_that_nobody_stands_behind_leaves_the_cutoff_due(desk: Fleet) -> None:
    assert state(desk) == "lapsed"
    told(desk, "nora", "bram")
    assert state(desk) == "lapsed"


def test_what_the_desk_relays_renews_the_operator_proof(desk: Fleet) -> None:
    told(desk, "dana", "bram")
    assert state(desk) == "proven"


def test_the_operators_own_word_takes_the_mark_away_and_a_denial_the_proof(desk: Fleet) -> None:
    seconded, denied = told(desk, "dana", "bram"), told(desk, "dana", "bram", at=NOW - DAY / 2)
    for visit, answer in ((seconded, NameReply.SECONDED), (denied, NameReply.DENIED)):
        pipeline.reply_to_naming(visit=visit.id, by=desk.caretaker, reply=answer, at=NOW)
    assert [(v.proves, v.relayed_from) for v in map(flush_of, (seconded.id, denied.id))] == [("partial", []), ("", [])]


@pytest.mark.parametrize(("ends", "relay"), [(-1, "nobody"), (0, "nobody"), (1, "desk")])
def test_who_was_of_the_desk_when_it_was_posted_decides(desk: Fleet, ends: int, relay: str) -> None:
    Grant.objects.filter(user__username="dana").update(until=NOW - DAY + timedelta(seconds=ends))
    assert Visit.objects.get(id=told(desk, "dana", "bram").id).operator_relay == relay


def test_the_desk_of_another_building_relays_nothing(desk: Fleet) -> None:
    other = Building.objects.create(portfolio=desk.portfolio, ref="X", address="Elsewhere", zone="UTC")
    Grant.objects.filter(user__username="dana").update(building=other)
    assert Visit.objects.get(id=told(desk, "dana", "bram").id).operator_relay == "nobody"


@pytest.mark.parametrize("role", ["owner", "technician"])
def test_the_mark_stands_on_every_page_that_shows_the_proof(desk: Fleet, client: Client, role: str) -> None:
    visit = told(desk, "dana", "bram")
    client.force_login(make_person("reader", desk.portfolio, role))
    bench = desk.bench()
    for address in (
        f"/visits/{visit.id}/",
        f"/boilers/{bench.boiler.id}/",
        f"/boilers/{bench.boiler.id}/positions/{bench.places['upper']}/",
    ):
        assert MARK in client.get(address).text, address


def test_the_mark_is_in_the_report_and_in_the_api(desk: Fleet, client: Client) -> None:
    visit = told(desk, "dana", "bram")
    client.force_login(make_person("reader", desk.portfolio, "owner"))
    mark = {"said_by": ["Bram Calder"], "entered_by": "Dana Ruiz"}
    facts = client.get(f"/api/v1/visits/{visit.id}/facts/").json()
    assert [e["relay"] for e in facts["entries"] if e["code"] == "flush"] == [mark]
    position = client.get(f"/api/v1/positions/{desk.bench().places['upper']}/").json()
    assert {p["procedure"]: p["relay"] for p in position["proofs"]}["flush"] == mark
    answer = client.get(f"/api/v1/visits/{visit.id}/").json()
    assert [str(desk.caretaker.id)] in [v["relayed_from"] for v in answer["verdicts"]]
    assert MARK in str(report_data(Visit.objects.select_related("boiler__building").get(id=visit.id), NOW))
