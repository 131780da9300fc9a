"""The self-check says in words whether worker, boundaries, database and broker are well, and what was not judged."""

import re
from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from django.test import Client

from fleet import pipeline, tasks
from fleet.board.models import Judged
from fleet.heartbeats.services import PARTS, WATCHER_CALLED, WATCHER_FAILED, note_heartbeat
from fleet.settings import REDIS_URL
from tests.cast import DAY, NOW, Fleet, make_person
from tests.stories import story
from tests.web.conftest import SetClock, SignIn
from tests.web.test_board import Count, read

pytestmark = pytest.mark.django_db
MINUTE, SECOND = timedelta(minutes=1), timedelta(seconds=1)


@story
def serviced(fleet: Fleet) -> None:
    """Both boilers a month ago."""
    fleet.post(fleet.serviced(NOW - 30 * DAY), fleet.serviced(NOW - 30 * DAY, "ALD12 B2"))


@pytest.fixture
def mia(serviced: Fleet, sign_in: SignIn, clock: SetClock) -> Client:
    """A manager."""
    return sign_in(make_person("mia", serviced.portfolio, "manager"))


def check(client: Client, name: str) -> str:
    found = re.search(rf"<span>{name}</span>(.*?)</li>", read(client, "/self-check/"))
    assert found is not None
    return found[1]


@pytest.mark.parametrize("part", PARTS)
@pytest.mark.parametrize(
    ("ago", "says"),
    [
        (None, "Not known to run."),
        (2 * MINUTE - SECOND, "Runs."),
        (2 * MINUTE, "Runs."),
        (2 * MINUTE + SECOND, "Stands still."),
        (-2 * MINUTE, "Runs."),
        (-2 * MINUTE - SECOND, "Not known to run."),  # the clock was moved back
    ],
)
def test_a_part_is_known_by_when_it_was_last_seen(part: str, ago: timedelta | None, says: str, mia: Client) -> None:
    if ago is not None:
        note_heartbeat(part, NOW - ago)
    assert says in check(mia, part.capitalize())


def test_the_age_of_a_heartbeat_is_told(mia: Client) -> None:
    note_heartbeat("delivery", NOW - 7 * MINUTE)
    assert "7 minutes ago" in check(mia, "Delivery")


WATCHED = "https://watch.example/quiet-secret"


@pytest.mark.parametrize(
    ("url", "called", "failed", "says"),
    [
        ("", None, None, "None is set."),
        ("", MINUTE, None, "None is set."),
        (WATCHED, None, None, "Not called yet."),
        (WATCHED, MINUTE, None, "Is called."),
        (WATCHED, 2 * MINUTE, None, "Is called."),
        (WATCHED, 2 * MINUTE + SECOND, None, "Not called for over 2 minutes."),
        (WATCHED, None, MINUTE, "Calls fail."),
        (WATCHED, 2 * MINUTE, MINUTE, "Calls fail."),
        (WATCHED, MINUTE, 2 * MINUTE, "Is called."),
        (WATCHED, 300 * MINUTE, 200 * MINUTE, "Calls fail."),
    ],
)
def test_whether_the_watcher_outside_is_called(
    url: str, called: timedelta | None, failed: timedelta | None, says: str, mia: Client, settings: Any
) -> None:
    settings.WATCHER_URL = url
    for part, ago in ((WATCHER_CALLED, called), (WATCHER_FAILED, failed)):
        if ago is not None:
            note_heartbeat(part, NOW - ago, "answered 503" if part == WATCHER_FAILED else "")
    said = check(mia, "Watcher")
    assert says in said
    assert ("(answered 503)" in said) is (says == "Calls fail.")
    assert "quiet-secret" not in read(mia, "/self-check/")


def test_why_the_watcher_hears_silence_is_told(mia: Client, settings: Any) -> None:
    settings.WATCHER_URL = WATCHED
    for part in PARTS:
        note_heartbeat(part, NOW - (MINUTE if part != "sweep" else 3 * MINUTE))
    assert "while a part is late (sweep)" in check(mia, "Watcher")


def test_the_workers_sweep_leaves_its_mark_and_one_told_of_a_bygone_day_leaves_none(
    mia: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tasks, "timezone", SimpleNamespace(now=lambda: NOW))
    tasks.sweep()
    assert "Mon 12 Jan 2026, 14:00 UTC" in check(mia, "Sweep")
    pipeline.sweep(at=NOW - DAY)
    assert "Mon 12 Jan 2026, 14:00 UTC" in check(mia, "Sweep")


def test_a_boundary_not_swept_is_told_with_its_age_until_it_is(fleet: Fleet, mia: Client, clock: SetClock) -> None:
    assert "None waits." in check(mia, "Boundaries")
    boundary = Judged.objects.filter(next_at__isnull=False).order_by("next_at").values_list("next_at", flat=True)[0]
    assert boundary is not None
    clock(boundary + 3 * MINUTE)
    told = check(mia, "Boundaries")
    assert "wait" in told
    assert "3 minutes ago" in told
    pipeline.sweep(at=boundary + 3 * MINUTE)
    assert "None waits." in check(mia, "Boundaries")


def test_what_could_not_be_judged_is_named(fleet: Fleet, mia: Client) -> None:
    assert "All are judged." in check(mia, "Judging")
    Judged.objects.filter(boiler=fleet.bench().boiler).update(failures=2, retry_at=NOW + 5 * MINUTE)
    assert "1 could not be judged." in check(mia, "Judging")
    body = read(mia, "/self-check/")
    assert "12 Alder Terrace, Boiler 1</a>: 2 tries" in body
    assert body.index("<span>Judging</span>") < body.index("<span>Database</span>")  # the worst first


@pytest.mark.parametrize(
    ("address", "says"), [("redis://127.0.0.1:1/0", "Does not answer."), ("", "None is set."), (REDIS_URL, "Answers.")]
)
def test_the_broker_is_asked(address: str, says: str, mia: Client, settings: object) -> None:
    settings.REDIS_URL = address  # type: ignore[attr-defined]
    assert says in check(mia, "Broker")


def test_no_address_and_no_password_stands_there(mia: Client) -> None:
    body = read(mia, "/self-check/")
    assert REDIS_URL
    assert not any(part in body for part in ("redis://", "unix://", "postgres://", REDIS_URL.rpartition("/")[0]))


def test_what_runs_is_told(mia: Client) -> None:
    body = read(mia, "/self-check/")
    assert re.search(r"<dt>Catalogue</dt><dd>release \d+</dd>.*<dt>Rules</dt><dd>version \d+</dd>", body)
    assert "<dt>Judged by an older build</dt><dd>0 boilers</dd>" in body


def test_it_is_for_who_answers_for_the_site(fleet: Fleet, sign_in: SignIn, clock: SetClock) -> None:
    roles = {role: make_person(role, fleet.portfolio, role) for role in ("owner", "office", "dispatcher", "inspector")}
    answers = {role: sign_in(user).get("/self-check/").status_code for role, user in roles.items()}
    assert answers == {"owner": 200, "office": 200, "dispatcher": 403, "inspector": 403}
    assert sign_in(fleet.outsider).get("/self-check/").status_code == 403
    assert Client().get("/self-check/").status_code == 302


def test_others_boilers_are_not_counted(fleet: Fleet, mia: Client, sign_in: SignIn) -> None:
    Judged.objects.filter(boiler=fleet.bench().boiler).update(failures=2)
    house = fleet.bench("ALD12 B2").boiler.building
    assert house == fleet.bench().boiler.building
    other = type(fleet.portfolio).objects.create(ref="OTHER", name="Other Homes")
    body = read(sign_in(make_person("otto", other, "manager")), "/self-check/")
    assert "Alder Terrace" not in body
    assert "could not be judged" not in body


# session, user, may; what failed, heartbeats, boundaries, never judged; the version of the database; release;
# portfolios, and of the one its build (release, terms) and what is older
PAGE = 13


def test_what_the_page_costs(mia: Client, django_assert_num_queries: Count) -> None:
    with django_assert_num_queries(PAGE):
        mia.get("/self-check/")
