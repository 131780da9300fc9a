"""Forms of the register's pages as a person fills them in: look at the page, change some fields, send it."""

import re
from typing import Any

from django.test import Client

from fleet.board.models import Change
from fleet.portfolio.models import Position
from tests.cast import Fleet
from tests.web.test_board import read


def form_of(body: str, key: str) -> dict[str, str]:
    """What a form on the page would send as it stands."""
    part = body.split(f'name="form" value="{key}"')[1].split("</form>")[0]
    sent = {"form": key}
    for tag in re.findall(r"<input[^>]*>", part):
        found = dict(re.findall(r'(name|value)="([^"]*)"', tag))
        if "name" in found:
            sent[found["name"]] = found.get("value", "").replace("&amp;", "&")
    for name, options in re.findall(r'<select[^>]*name="(\w+)"[^>]*>(.*?)</select>', part, re.S):
        chosen = re.search(r'value="([^"]*)" selected', options) or re.search(r'value="([^"]*)"', options)
        sent[name] = chosen[1] if chosen else ""
    return sent


def send(client: Client, at: str, which: str, /, *, page: str = "", **fields: str) -> Any:
    """Look at the page, fill in one form of it, send it."""
    return client.post(f"{at}change/", {**form_of(page or read(client, at), which), **fields})


def place(fleet: Fleet, ref: str) -> Position:
    return Position.objects.get(id=fleet.bench().places[ref])


def newest() -> tuple[str, str, str, str]:
    """Who changed what last, from what to what."""
    change = Change.objects.filter(kind__startswith="register.").order_by("version", "number").last()
    assert change is not None
    return change.who, change.kind, change.before, change.after
