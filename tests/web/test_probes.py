"""What programs ask of the site: that it is alive, that it can serve, and its figures, for this machine or by a key."""

import json
import math
from datetime import timedelta
from ipaddress import ip_network
from types import SimpleNamespace
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder
from django.db.utils import OperationalError
from django.test import Client
from prometheus_client.parser import text_string_to_metric_families

from fleet import pipeline
from fleet.alerts.models import Alert
from fleet.board.models import Judged
from fleet.catalog.models import Release
from fleet.heartbeats.services import BEAT, DELIVERY, SWEEP, WATCHER_CALLED, WORKER, note_heartbeat
from fleet.notices.models import DeliveryAttempt, Notice
from fleet.portfolio.models import Portfolio
from fleet.web.probes import metrics_page, readiness
from tests.cast import DAY, NOW, Fleet
from tests.stories import story
from tests.web.test_board import Count

KEY = "Qw8-rt5_Zx2.cv9Bn4mLk7jHg3fDs6aP"
HEADERS = {"Authorization": f"Bearer {KEY}"}
SECOND = timedelta(seconds=1)


@pytest.fixture
def unreachable(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every statement fails as it does without a database, with words that name it."""

    def fail(*_: object, **__: object) -> None:
        raise OperationalError('connection to "/run/secret-place" failed: password "hush" refused')

    monkeypatch.setattr(connection, "ensure_connection", fail)


@pytest.mark.parametrize("method", ["get", "head"])
def test_the_site_is_alive_while_its_database_is_away(unreachable: None, method: str) -> None:
    response = getattr(Client(), method)("/healthz")
    assert response.status_code == 200
    assert "no-store" in response["Cache-Control"]


@pytest.mark.django_db
def test_being_alive_asks_the_database_nothing(django_assert_num_queries: Count) -> None:
    with django_assert_num_queries(0):
        assert Client().get("/healthz").content == b"The site answers.\n"


def problem(client: Client) -> dict[str, Any]:
    response = client.get("/readyz")
    assert (response.status_code, response["Content-Type"]) == (503, "application/problem+json")
    assert response["Retry-After"] == "5"
    return dict(json.loads(response.content))


def test_a_database_that_is_away_is_a_problem_without_its_words(unreachable: None) -> None:
    told = problem(Client())
    assert (told["status"], told["code"], told["detail"]) == (
        *(503, "database_unreachable"),
        "The database does not answer.",
    )
    assert not any(word in json.dumps(told) for word in ("secret-place", "hush"))


@pytest.mark.usefixtures("fleet")
def test_with_all_of_it_the_site_can_serve(fleet: Fleet) -> None:
    response = Client().get("/readyz")
    assert (response.status_code, response.content) == (200, b"The site can serve.\n")


@pytest.mark.django_db
def test_without_a_catalogue_the_site_cannot_serve() -> None:
    assert not Release.objects.exists()
    assert problem(Client())["code"] == "catalogue_missing"


@pytest.mark.usefixtures("fleet")
@pytest.mark.parametrize("count", [1, 2])
def test_a_migration_that_is_not_applied_is_told_by_number(count: int, monkeypatch: pytest.MonkeyPatch) -> None:
    more = {("board", f"9{n:03}_later") for n in range(count)}
    known = readiness.migrations_of_program() | more
    monkeypatch.setattr(readiness, "migrations_of_program", lambda: known)
    told = problem(Client())
    assert (told["code"], told["detail"]) == (
        "migrations_missing",
        f"{count} migrations are not applied: run migrate.",
    )


@pytest.mark.django_db
def test_every_migration_of_the_program_is_one_that_the_database_notes() -> None:
    assert readiness.migrations_of_program() == set(MigrationRecorder(connection).applied_migrations())


@pytest.mark.parametrize("path", ["/healthz", "/readyz", "/metrics"])
def test_nothing_can_be_posted_there(path: str) -> None:
    assert Client().post(path, HTTP_HOST="127.0.0.1").status_code == 405


@story
def one_held(fleet: Fleet) -> None:
    """The first boiler on hold, both serviced a month ago."""
    fleet.post(fleet.serviced(NOW - 30 * DAY), fleet.serviced(NOW - 30 * DAY, "ALD12 B2"))
    fleet.post(fleet.flushed(NOW - DAY, burner_stopped=False))


@pytest.fixture
def figures(one_held: Fleet, monkeypatch: pytest.MonkeyPatch) -> Any:
    """Ask for the figures at an instant."""

    def ask(at: Any = NOW, client: Client | None = None) -> dict[tuple[str, ...], float]:
        monkeypatch.setattr(metrics_page, "timezone", SimpleNamespace(now=lambda: at))
        response = (client or Client()).get("/metrics", headers={"Host": "127.0.0.1:8000"})
        assert response.status_code == 200
        families = text_string_to_metric_families(response.content.decode())
        return {(s.name, *s.labels.values()): s.value for family in families for s in family.samples}

    return ask


def test_the_age_of_each_heartbeat_is_told_and_one_never_seen_is_infinitely_old(figures: Any) -> None:
    ages = {BEAT: 20.0, WORKER: 30.0, SWEEP: 121.5}
    for part, age in ages.items():
        note_heartbeat(part, NOW - timedelta(seconds=age))
    told = figures()
    assert {p: told["gaugeglass_heartbeat_age_seconds", p] for p in ages} == ages
    assert told["gaugeglass_heartbeat_age_seconds", DELIVERY] == math.inf


def test_the_watchers_age_is_told_where_there_is_one(figures: Any, settings: Any) -> None:
    name = ("gaugeglass_watcher_call_age_seconds",)
    assert name not in figures()
    settings.WATCHER_URL = "https://watch.example/quiet-secret"
    assert figures()[name] == math.inf
    note_heartbeat(WATCHER_CALLED, NOW - 40 * SECOND)
    assert figures()[name] == 40.0


def test_boilers_that_wait_and_that_failed_are_counted(figures: Any, fleet: Fleet) -> None:
    boundary = Judged.objects.filter(next_at__isnull=False).order_by("next_at").values_list("next_at", flat=True)[0]
    assert boundary is not None
    pipeline.sweep(at=boundary - SECOND)
    waiting = [figures(boundary + age)["gaugeglass_boilers_waiting",] for age in (-SECOND, 0 * SECOND, SECOND)]
    assert waiting[0] == 0
    assert waiting[1] == waiting[2] > 0
    Judged.objects.filter(boiler=fleet.bench().boiler).update(failures=2, retry_at=boundary + DAY)
    assert figures(boundary)["gaugeglass_boilers_failed",] == 1
    assert figures(boundary)["gaugeglass_boilers_waiting",] == waiting[1]  # it waits, whenever it is tried again


def test_open_alerts_are_counted_by_level_and_a_level_without_any_is_zero(figures: Any) -> None:
    told = figures()
    open_by_level = {
        level: Alert.objects.filter(until=None, level=level).count() for level in ("hold", "urgent", "routine")
    }
    assert {level: told["gaugeglass_open_alerts", level] for level in open_by_level} == open_by_level
    assert open_by_level["hold"] > 0
    assert 0 in open_by_level.values()


def test_no_figure_names_anybody_or_anything_of_a_portfolio(figures: Any, fleet: Fleet) -> None:
    note_heartbeat(BEAT, NOW)
    body = Client().get("/metrics").content.decode()
    names = [*Portfolio.objects.values_list("name", flat=True), "Alder", "ALD12", fleet.technician.username]
    assert not [name for name in names if name in body]


def test_free_bytes_are_told_where_the_disk_is_this_machines(figures: Any, settings: Any, tmp_path: Any) -> None:
    assert ("gaugeglass_disk_free_bytes",) not in figures()
    settings.DISK_FOLDER = str(tmp_path)
    assert figures()["gaugeglass_disk_free_bytes",] > 0


@pytest.fixture
def add_notice_at(one_held: Fleet) -> Any:
    """Write a notice to the technician that is to be sent at an instant."""

    def add(due_at: Any, **more: Any) -> Notice:
        person = {"portfolio": one_held.portfolio, "user": one_held.technician, "kind": "single", "level": "urgent"}
        times = {"created_at": due_at, "due_at": due_at, "next_at": due_at}
        return Notice.objects.create(**person, **times, key=str(uuid4()), subject="s", text="t", **more)

    return add


def test_notices_that_should_have_been_sent_are_counted_with_the_age_of_the_oldest(
    figures: Any, add_notice_at: Any
) -> None:
    Notice.objects.all().delete()
    assert (figures()["gaugeglass_notices_waiting",], figures()["gaugeglass_oldest_notice_age_seconds",]) == (0, 0)
    add_notice_at(NOW)
    add_notice_at(NOW + 10 * SECOND)
    add_notice_at(NOW - DAY, status="sent")
    for at, waiting, age in ((NOW - SECOND, 0, 0), (NOW, 1, 0), (NOW + 9 * SECOND, 1, 9), (NOW + 10 * SECOND, 2, 10)):
        told = figures(at)
        assert (told["gaugeglass_notices_waiting",], told["gaugeglass_oldest_notice_age_seconds",]) == (waiting, age)


def test_attempts_are_counted_by_channel_and_outcome(figures: Any, add_notice_at: Any) -> None:
    notice = add_notice_at(NOW)
    for channel, outcome in (("email", "sent"), ("email", "sent"), ("email", "failed"), ("", "failed")):
        DeliveryAttempt.objects.create(
            portfolio=notice.portfolio, notice=notice, channel=channel, at=NOW, outcome=outcome, answer=""
        )
    told = figures()
    name = "gaugeglass_delivery_attempts_total"
    assert {key[1:]: value for key, value in told.items() if key[0] == name} == {
        ("email", "sent"): 2,
        ("email", "failed"): 1,
        ("none", "failed"): 1,
    }


# heartbeats, portfolios, one portfolio's build (release, terms), waiting, failed, alerts, notices, the oldest, attempts
COST = 10


def test_what_the_figures_cost(figures: Any, django_assert_num_queries: Count) -> None:
    with django_assert_num_queries(COST):
        figures()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("meta", "settings_of_site", "opened"),
    [
        ({}, {}, True),
        ({"REMOTE_ADDR": "::1"}, {}, True),
        ({"REMOTE_ADDR": "::ffff:127.0.0.1"}, {}, True),
        ({"HTTP_HOST": "localhost:8000"}, {}, True),
        ({"HTTP_HOST": "[::1]:8000"}, {}, True),
        ({"REMOTE_ADDR": "192.0.2.7"}, {}, False),
        ({"REMOTE_ADDR": ""}, {}, False),
        ({"HTTP_HOST": "boilers.example"}, {}, False),
        ({"HTTP_X_FORWARDED_FOR": "127.0.0.1"}, {}, False),
        ({"HTTP_X_FORWARDED_FOR": ""}, {}, False),
        ({"HTTP_X_FORWARDED_PROTO": "https"}, {}, False),
        ({"HTTP_X_FORWARDED_HOST": "127.0.0.1"}, {}, False),
        ({"HTTP_X_REAL_IP": "127.0.0.1"}, {}, False),
        ({"HTTP_FORWARDED": "for=127.0.0.1"}, {}, False),
        ({"HTTP_VIA": "1.1 front"}, {}, False),
        ({}, {"PROXIES": 1}, False),
        ({}, {"PROXY_NETWORKS": (ip_network("127.0.0.1"),)}, False),
    ],
)
def test_only_who_asks_on_this_machine_itself_sees_the_figures_without_a_key(
    meta: dict[str, str], settings_of_site: dict[str, Any], opened: bool, settings: Any
) -> None:
    settings.ALLOWED_HOSTS = ["*"]
    for name, value in settings_of_site.items():
        setattr(settings, name, value)
    request = {"REMOTE_ADDR": "127.0.0.1", "HTTP_HOST": "127.0.0.1:8000", **meta}
    assert Client().get("/metrics", **request).status_code == (200 if opened else 404)  # type: ignore[arg-type]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("held", "sent", "opened"),
    [
        (KEY, f"Bearer {KEY}", True),
        (KEY, f"Bearer {KEY}x", False),
        (KEY, f"Bearer {KEY[:-1]}", False),
        (KEY, KEY, False),
        (KEY, "Bearer ", False),
        (KEY, "", False),
        (KEY, "Bearer \xe9", False),
        ("", "Bearer ", False),
        ("", "", False),
    ],
)
def test_from_elsewhere_the_key_alone_opens_the_figures(held: str, sent: str, opened: bool, settings: Any) -> None:
    settings.METRICS_KEY = held
    response = Client().get("/metrics", REMOTE_ADDR="192.0.2.7", HTTP_AUTHORIZATION=sent)
    assert response.status_code == (200 if opened else 404)


@pytest.mark.django_db
@pytest.mark.parametrize("held", ["", KEY])
@pytest.mark.parametrize("method", ["get", "head", "post", "put"])
def test_who_may_not_see_the_figures_is_answered_like_who_asks_for_what_nobody_knows(
    held: str, method: str, settings: Any
) -> None:
    settings.METRICS_KEY = held

    def answer(path: str) -> tuple[int, bytes, list[tuple[str, str]]]:
        client = Client(enforce_csrf_checks=True, REMOTE_ADDR="192.0.2.7", HTTP_AUTHORIZATION="Bearer wrong")
        response = getattr(client, method)(path)
        return response.status_code, response.content, [i for i in response.items() if i[0] != "X-Request-Id"]

    assert answer("/metrics") == answer("/nowhere")
    assert answer("/metrics")[0] == 404


def test_figures_that_cannot_be_read_are_not_told(unreachable: None) -> None:
    response = Client().get("/metrics", HTTP_HOST="127.0.0.1")
    assert (response.status_code, response.content) == (503, b"The database does not answer.\n")
