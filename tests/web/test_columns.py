"""The two columns: what is set, where it tripped, what it hangs on, and what a break keeps from getting through."""

import re
from itertools import pairwise
from typing import Any

import pytest
from django.test import Client

from fleet.portfolio.models import Setting
from fleet.visits.incoming import IncomingEntry
from fleet.web.boiler.column_drawing import Band, draw_column
from tests.cast import DAY, LONG_AGO, NOW, Fleet, make_person
from tests.stories import story
from tests.web.boiler_room import fit, put_down
from tests.web.conftest import SignIn
from tests.web.test_board import read

pytestmark = pytest.mark.django_db


@story
def served(fleet: Fleet) -> None:
    fleet.post(fleet.serviced(NOW - 30 * DAY))


def columns(fleet: Fleet, client: Client) -> str:
    return read(client, f"/boilers/{fleet.bench().boiler.id}/").split('id="columns"')[1].split("</section>")[0]


def told(body: str, column: str) -> str:
    """What is read out of one column's drawing."""
    return body.split(f'id="tells-{column}">')[1].split("</desc>")[0]


def dark(body: str) -> list[str]:
    """The bands that are drawn dark, by their first line."""
    return re.findall(r'<g class="band dark[^>]*>.*?<text class="strong"[^>]*>(.*?)</text>', body)


def row(body: str, name: str) -> str:
    return body.split(f'<th scope="row">{name}</th>')[1].split("</tr>")[0]


def plug(fleet: Fleet, ref: str) -> None:
    bench = fleet.bench()
    plugged = bench.test_entry(NOW - DAY, "siphon_check", ref, "fail", passes_water=False)
    fleet.post(bench.compose_visit("no_heat", NOW - DAY, [fleet.technician.id], [plugged]))


def test_a_rung_says_where_it_is_set_tripped_and_what_it_hangs_on(served: Fleet, rosa: Client) -> None:
    said = told(columns(served, rosa), "pressure")
    assert "High limit, set at 8 psi, tripped last at 7.9 psi on Sat 13 Dec 2025, proven, on the limit siphon." in said
    assert "Cut-in, set at 0.5 psi, on the control siphon." in said


def test_a_rung_says_by_what_it_was_proven_when_and_until_when(served: Fleet, rosa: Client) -> None:
    limit = row(columns(served, rosa), "High limit")
    for words in ("Limit trip", "Sat 13 Dec 2025", "due Thu 01 Oct 2026", "lapses Sat 31 Oct 2026", "/visits/"):
        assert words in limit


def test_the_water_side_has_lines_feeder_and_trip_heights_in_order(served: Fleet, rosa: Client) -> None:
    fit(served, "feeder", "feeder", "feeder", feeds_at_in=4.0)
    put_down(served, normal_line_in=5.0)
    served.post(served.flushed(NOW - DAY))
    said = told(columns(served, rosa), "water")
    names = (
        "Normal line, at 5 in",
        "Feeder, feeds at 4 in",
        "Upper cutoff, trips at 2.5 in",
        "Lower cutoff, trips at 1.5",
    )
    places = [said.index(name) for name in (*names, "Lowest safe line, at 1 in")]
    assert places == sorted(places)


def test_nothing_is_dark_where_nothing_is_broken(served: Fleet, rosa: Client) -> None:
    body = columns(served, rosa)
    assert dark(body) == []
    assert 'class="break"' not in body


def test_a_plugged_siphon_darkens_all_beyond_it_and_nothing_else(served: Fleet, rosa: Client) -> None:
    plug(served, "siphon-2")
    body = columns(served, rosa)
    assert dark(body) == ["8 psi high limit"]
    assert body.count('class="break"') == 1
    assert "beyond the break in the limit siphon" in row(body, "High limit")
    assert "broken off" in body


def test_a_path_is_of_the_place_and_not_forgotten_with_a_new_device(served: Fleet, rosa: Client) -> None:
    bench = served.bench()
    place = bench.places["limit"]
    at, stamped = NOW - 2 * DAY, {"set_psi": 8.0}
    new = IncomingEntry(act="replace", code="", position=place, at=at, kind="limit_control", values=stamped)
    served.post(served.visit(NOW - 2 * DAY, [new]))
    plug(served, "siphon-2")
    assert dark(columns(served, rosa)) == ["8 psi high limit"]


def test_a_chamber_that_two_share_takes_both_cutoffs(served: Fleet, rosa: Client) -> None:
    lower, chamber = served.bench().places["lower"], str(served.bench().places["chamber"])
    more: dict[str, Any] = {"portfolio": served.portfolio, "posted_at": LONG_AGO, "since": NOW - 20 * DAY}
    Setting.objects.create(position_id=lower, key="paths", value=[chamber], **more)
    bench = served.bench()
    dry = bench.test_entry(NOW - DAY, "flush", "upper", "fail", burner_firing=True, water="none", burner_stopped=True)
    served.post(bench.compose_visit("routine_check", NOW - DAY, [served.technician.id], [dry]))
    assert dark(columns(served, rosa)) == ["2.5 in upper cutoff", "1.5 in lower cutoff"]


def test_a_failed_way_out_darkens_every_control_but_the_valve(served: Fleet, rosa: Client) -> None:
    fit(served, "limit-circuit", "limit_circuit", "limit_circuit")
    bench = served.bench()
    read_so = {"burner_firing": True, "switch_opened": True, "burner_stopped": False, "fuel_shut": False}
    live = bench.test_entry(NOW - DAY, "limit_circuit_trip", "limit-circuit", "fail", **read_so)
    served.post(bench.compose_visit("routine_check", NOW - DAY, [served.technician.id], [live]))
    body = columns(served, rosa)
    assert dark(body) == [
        "8 psi high limit",
        "1.5 psi cut-out",
        "0.5 psi cut-in",
        "2.5 in upper cutoff",
        "1.5 in lower cutoff",
    ]
    assert "The way out is cut at the limit circuit." in body


def test_who_may_not_read_visits_sees_set_points_and_states_but_no_trip(
    served: Fleet, rosa: Client, sign_in: SignIn
) -> None:
    body = columns(served, sign_in(make_person("ines", served.portfolio, "office")))
    assert "8 psi high limit" in body
    assert "Proven" in row(body, "High limit")
    assert "tripped last" not in body
    assert "/visits/" not in body


def test_a_boiler_of_which_nothing_is_on_record_says_so(fleet: Fleet, rosa: Client) -> None:
    boiler = fleet.bench().boiler
    bare = type(boiler).objects.create(
        portfolio=fleet.portfolio, building=boiler.building, ref="B9", name="Boiler 9", since=LONG_AGO
    )
    assert "No set point, water line or control is on record" in read(rosa, f"/boilers/{bare.id}/")


def test_bands_never_lie_over_each_other_and_stay_above_the_boiler() -> None:
    bands = [Band(at, None, ("a", "b", "c"), "proven", False, ()) for at in (15.0, 2.0, 1.9, 1.8, 0.4, None)]
    drawing = draw_column(bands, [], "psi")
    ends = [(b.top, b.bottom) for b in drawing.bands]
    assert all(above[1] < below[0] for above, below in pairwise(ends))
    assert ends[-1][1] < drawing.foot
    assert ends[0][0] >= 0
