"""On a full disk pages are shown and say so; what would be saved is refused, and all of it ends with the room."""

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from django.db import OperationalError
from django.test import Client, RequestFactory
from psycopg.errors import DiskFull

from fleet import pipeline, tasks
from fleet.board import sweep_heartbeat
from fleet.heartbeats.services import read_heartbeats
from fleet.records import disk_room
from fleet.records.disk_room import ROOM_FOR_WRITES_BYTES, has_room
from fleet.web.shared.disk_notice import DISK_NOTICE, PageRoomMiddleware
from tests.cast import NOW, Fleet, make_person
from tests.web.conftest import SetClock, SignIn
from tests.web.test_self_check import check

NO_ROOM = "The disk of the site is full. Nothing was saved. Everything can be viewed."


class Disk:
    """A disk with so many free bytes."""

    def __init__(self) -> None:
        self.free = 0


@pytest.fixture
def disk(tmp_path: Path, settings: Any, monkeypatch: pytest.MonkeyPatch) -> Disk:
    """The disk of the site, full at first."""
    made = Disk()
    settings.DISK_FOLDER = str(tmp_path)
    monkeypatch.setattr(disk_room, "free_bytes", lambda folder: made.free)
    monkeypatch.setattr("fleet.web.shared.self_check.free_bytes", lambda folder: made.free)
    return made


@pytest.mark.parametrize(
    ("free", "has"), [(0, False), (ROOM_FOR_WRITES_BYTES - 1, False), (ROOM_FOR_WRITES_BYTES, True)]
)
def test_there_is_room_from_so_many_bytes_on(free: int, has: bool, disk: Disk) -> None:
    disk.free = free
    assert has_room() is has


def test_a_real_disk_is_asked_for_what_is_free_and_no_disk_is_never_full(tmp_path: Path, settings: Any) -> None:
    status = SimpleNamespace(f_bavail=2, f_frsize=4096)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("os.statvfs", lambda folder: status)
        assert disk_room.free_bytes(tmp_path) == 8192
    settings.DISK_FOLDER = ""
    assert has_room()


def test_what_a_page_would_save_is_refused_until_there_is_room(fleet: Fleet, disk: Disk, rosa: Client) -> None:
    refused = rosa.post("/account/units/", {"units": "metric"})
    assert refused.status_code == 503
    assert refused.content.decode() == NO_ROOM
    assert refused["Retry-After"] == "60"
    disk.free = ROOM_FOR_WRITES_BYTES
    assert rosa.post("/account/units/", {"units": "metric"}).status_code != 503


def test_every_page_is_shown_and_says_so_until_there_is_room(fleet: Fleet, disk: Disk, rosa: Client) -> None:
    page = rosa.get("/jobs/")
    assert page.status_code == 200
    assert DISK_NOTICE in page.content.decode()
    assert rosa.get("/fresh/").content.decode() == DISK_NOTICE
    disk.free = ROOM_FOR_WRITES_BYTES
    assert DISK_NOTICE not in rosa.get("/jobs/").content.decode()


def test_on_a_full_disk_people_can_sign_in_and_out(fleet: Fleet, disk: Disk) -> None:
    client = Client()
    person = make_person("mia", fleet.portfolio, "manager")
    person.set_password("a long enough one")
    person.save()
    assert client.post("/sign-in/", {"username": "mia", "password": "a long enough one"}).status_code == 302
    assert client.get("/jobs/").status_code == 200
    assert client.post("/sign-out/").status_code == 302


def test_a_write_for_which_the_database_found_no_room_is_no_fault_of_the_site() -> None:
    error = OperationalError("could not extend file")
    error.__cause__ = DiskFull("could not extend file")
    middleware = PageRoomMiddleware(lambda request: pytest.fail("asked"))
    answer = middleware.process_exception(RequestFactory().post("/sign-in/"), error)
    assert answer is not None
    assert (answer.status_code, answer.content.decode()) == (503, NO_ROOM)
    assert middleware.process_exception(RequestFactory().get("/"), OperationalError("other")) is None


@pytest.mark.parametrize(
    ("free", "says"),
    [
        (0, "Is full. 0 MB are free, 64 MB are needed. Everything can be viewed. Nothing is saved"),
        (ROOM_FOR_WRITES_BYTES, "Has room. 64 MB are free, 64 MB are needed."),
    ],
)
def test_the_self_check_tells_how_much_room_there_is(
    free: int, says: str, fleet: Fleet, disk: Disk, sign_in: SignIn, clock: SetClock
) -> None:
    disk.free = free
    told = check(sign_in(make_person("mia", fleet.portfolio, "manager")), "Disk")
    assert says in " ".join(told.replace("</span>", " ").split()).replace(" .", ".")


@pytest.mark.django_db
def test_nothing_is_swept_imported_or_sent_on_a_full_disk_and_nothing_is_noted(
    disk: Disk, monkeypatch: pytest.MonkeyPatch
) -> None:
    ran: list[str] = []
    monkeypatch.setattr(tasks, "timezone", SimpleNamespace(now=lambda: NOW))
    monkeypatch.setattr(pipeline, "sweep", lambda at: ran.append("sweep"))
    monkeypatch.setattr(pipeline, "work_on_imports", lambda at: ran.append("imports"))
    monkeypatch.setattr(tasks, "deliver_next", lambda **_: ran.append("deliver"))
    tasks.sweep()
    tasks.imports()
    tasks.deliver()
    tasks.note_worker()
    tasks.note_delivery()
    assert (ran, sweep_heartbeat.last_sweep_at(), read_heartbeats()) == ([], None, {})
    disk.free = ROOM_FOR_WRITES_BYTES
    tasks.sweep()
    tasks.imports()
    tasks.deliver()
    assert (ran, sweep_heartbeat.last_sweep_at()) == (["sweep", "imports", "deliver"], NOW)
