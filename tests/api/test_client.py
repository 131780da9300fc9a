"""A client that a public generator writes from the API's description reads and posts like any other device."""

import importlib
import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import httpx
import pytest
from django.core.signals import request_finished, request_started
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections
from django.test import Client as Reader

from tests.api.phone import Phone, but, flush
from tests.cast import Fleet

HOST = "http://testserver"


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory, django_db_setup: Any) -> Iterator[str]:
    """The generated package, importable."""
    folder = tmp_path_factory.mktemp("client")
    described = folder / "described.json"
    described.write_bytes(Reader().get("/api/schema/?format=json", headers={"Accept": "application/json"}).content)
    program = Path(sys.executable).with_name("openapi-python-client")
    options = ["generate", "--path", described, "--output-path", folder / "gauge_client", "--meta", "none"]
    told = subprocess.run([program, *options], capture_output=True, text=True, timeout=120)
    assert told.returncode == 0, told.stderr
    sys.path.insert(0, str(folder))
    yield "gauge_client"
    sys.path.remove(str(folder))


@pytest.fixture
def client(written: str, rosa: Phone) -> Iterator[SimpleNamespace]:
    """The generated client with the technician's key, calling the site within this process and its transaction."""
    signals = (request_started, request_finished)
    for signal in signals:
        signal.disconnect(close_old_connections)
    made = importlib.import_module(f"{written}.client").AuthenticatedClient(base_url=HOST, token=rosa.key)
    headers = {"Authorization": f"Bearer {rosa.key}"}
    transport = httpx.WSGITransport(app=get_wsgi_application())
    with httpx.Client(transport=transport, base_url=HOST, headers=headers) as wire:
        made.set_httpx_client(wire)
        yield SimpleNamespace(
            made=made,
            of=lambda name: importlib.import_module(f"{written}.api.v1.{name}"),
            model=lambda name: getattr(importlib.import_module(f"{written}.models"), name),
        )
    for signal in signals:
        signal.connect(close_old_connections)


def test_it_has_a_call_for_every_operation(written: str) -> None:
    described = json.loads(Reader().get("/api/schema/", headers={"Accept": "application/json"}).content)
    named = {o["operationId"] for path in described["paths"].values() for o in path.values() if "operationId" in o}
    package = Path(str(importlib.import_module(f"{written}.api.v1").__file__)).parent
    calls = {path.stem for path in package.glob("*.py")} - {"__init__"}
    assert {snake(name) for name in named} == calls


def snake(name: str) -> str:
    return "".join(f"_{c.lower()}" if c.isupper() else c for c in name)


def test_it_lists_and_reads_what_may_be_seen(client: SimpleNamespace, fleet: Fleet) -> None:
    listed = client.of("list_boilers").sync(client=client.made)
    one = client.of("get_boiler").sync(listed.items[0].id, client=client.made)
    assert (one.id, one.name) == (listed.items[0].id, listed.items[0].name)


def test_it_posts_a_visit_and_reads_the_answer(client: SimpleNamespace, fleet: Fleet) -> None:
    failed = but(flush(fleet), "entries", 0, "readings", "burner_stopped", to=False)
    visit = client.model("Visit").from_dict(but(failed, "entries", 0, "outcome", to="fail"))
    answer = client.of("post_visit").sync_detailed(client=client.made, body=visit)
    assert (answer.status_code, answer.parsed.standing.after) == (201, "hold")


def test_a_refusal_comes_as_a_problem(client: SimpleNamespace) -> None:
    nobody = "0f0e0d0c-0b0a-4908-8706-050403020100"
    answer = client.of("get_boiler").sync_detailed(nobody, client=client.made)
    assert (answer.status_code, answer.parsed.code) == (404, "not_found")
