"""From any standing to what it rests on in two clicks: row, reason, entry with its limit, set point and source."""

import re
from html import unescape

import pytest
from django.test import Client

from fleet.portfolio.models import Boiler
from tests.cast import DAY, NOW, Fleet
from tests.web.conftest import SetClock
from tests.web.test_board import read
from tests.web.test_boiler import part
from tests.web.test_visit import entry

pytestmark = pytest.mark.django_db


def explained(client: Client, boiler: Boiler) -> tuple[str, str, str]:
    """Click on the boiler's row, then on what its first reason rests on: standing, sentence, the entry's words."""
    row = read(client).split(f'id="boiler-{boiler.id}"')[1].split("</li>")[0]
    standing = re.search(r"mark-(\w+)", row)
    first = re.search(r'href="(/boilers/[\w-]+/)"', row)
    assert standing is not None
    assert first is not None
    why = part(read(client, first[1]), "why").split("<li>")[1]
    sentence = why.split("<a")[0].strip()
    assert sentence in row
    second = re.search(r'href="(/visits/[\w-]+/)#entry-(\d+)"', why)
    assert second is not None
    return standing[1], unescape(sentence), unescape(entry(read(client, second[1]), int(second[2])))


def test_a_hold_leads_to_the_test_that_failed(fleet: Fleet, rosa: Client) -> None:
    fleet.post(fleet.serviced(NOW - 30 * DAY), fleet.flushed(NOW - DAY, burner_stopped=False))
    standing, sentence, told = explained(rosa, fleet.bench().boiler)
    assert standing == "hold"
    assert "kept firing" in sentence
    for words in ("Flush", "Fail", "burner stopped</dt><dd>no", "(General test procedures"):
        assert words in told


def test_an_urgent_limit_leads_to_its_reading_limit_set_point_and_source(fleet: Fleet, rosa: Client) -> None:
    fleet.post(fleet.serviced(NOW - 30 * DAY))
    bench = fleet.bench()
    high = bench.test_entry(NOW - DAY, "operating_control_trip", "control", "fail", trip_psi=7.5, cycles=3.0)
    fleet.post(bench.compose_visit("routine_check", NOW - DAY, [fleet.technician.id], [high]))
    standing, sentence, told = explained(rosa, bench.boiler)
    assert standing == "impaired"
    assert "operating control" in sentence
    for words in ("trip</dt><dd>7.5 psi", "Limit: ", "Compared with 1.5 psi", "US Department of Energy"):
        assert words in told


def test_a_lapse_leads_to_the_last_proof_and_what_asks_for_it(fleet: Fleet, rosa: Client, clock: SetClock) -> None:
    fleet.post(fleet.serviced(NOW - 30 * DAY))
    clock(NOW + 330 * DAY)
    standing, sentence, told = explained(rosa, fleet.bench().boiler)
    assert standing == "exposed"
    assert "lapsed" in sentence
    assert "Pass" in told
    assert "Source: " in told


def test_clear_leads_to_the_two_columns(fleet: Fleet, rosa: Client) -> None:
    fleet.post(fleet.serviced(NOW - 30 * DAY), fleet.flushed(NOW - DAY))
    assert '<a class="note" href="#columns">the two columns</a>' in part(
        read(rosa, f"/boilers/{fleet.bench().boiler.id}/"), "why"
    )
