"""Devices that come and go within one visit: what the visit itself shows to be impossible is refused."""

from typing import Any

import pytest

from fleet.portfolio.models import Device
from tests.api.phone import Phone, flush, told
from tests.cast import Fleet

pytestmark = pytest.mark.django_db
CONTROL = {"kind": "limit_control", "set_psi": 8}


def put(fleet: Fleet, *entries: tuple[str, dict[str, Any]], ref: str = "limit") -> dict[str, Any]:
    """A visit that puts devices in and out of one position."""
    place = str(fleet.bench().places[ref])
    return {**flush(fleet), "entries": [{act: {"position": place, **more}} for act, more in entries]}


REMOVE, FIT, REPLACE = ("remove", {}), ("fit", {"with": CONTROL}), ("replace", {"with": CONTROL})


@pytest.mark.parametrize(
    ("entries", "fault"),
    [
        ((REMOVE, FIT, FIT), ("position_taken", "/entries/2/fit/position")),
        ((REPLACE, FIT), ("position_taken", "/entries/1/fit/position")),
        ((REMOVE, REMOVE), ("position_empty", "/entries/1/remove/position")),
        ((REMOVE, REPLACE), ("position_empty", "/entries/1/replace/position")),
        ((REMOVE, ("fit", {"with": {"kind": "siphon"}})), ("device_does_not_fit", "/entries/1/fit/with/kind")),
    ],
)
def test_two_occupants_at_once_or_none_to_take_out_are_refused(
    entries: Any, fault: Any, rosa: Phone, fleet: Fleet
) -> None:
    assert told(rosa.post(put(fleet, *entries))) == [fault]


@pytest.mark.parametrize("entries", [(REMOVE, FIT), (REPLACE,), (REPLACE, REPLACE), (REMOVE, FIT, REMOVE)])
def test_one_after_the_other_is_accepted(entries: Any, rosa: Phone, fleet: Fleet) -> None:
    assert rosa.post(put(fleet, *entries)).status_code == 201


def test_one_ref_for_two_entries_is_refused(rosa: Phone, fleet: Fleet) -> None:
    body = put(fleet, REMOVE, FIT)
    body["entries"] = [{**entry, "ref": "new"} for entry in body["entries"]]
    assert told(rosa.post(body)) == [("double_ref", "/entries/1/ref")]


def test_one_device_in_two_places_is_refused(rosa: Phone, fleet: Fleet) -> None:
    device = {"kind": "siphon", "id": "b8a2f1de-0000-4000-8000-000000000000"}
    body = put(fleet, ("replace", {"with": device}), ref="siphon-1")
    second = {"replace": {"position": str(fleet.bench().places["siphon-2"]), "with": device}}
    assert told(rosa.post({**body, "entries": [*body["entries"], second]})) == [
        ("device_twice", "/entries/1/replace/with/id")
    ]


def test_a_ref_that_is_a_number_is_not_the_entry_of_that_number(rosa: Phone, fleet: Fleet) -> None:
    before = Device.objects.count()
    body = put(fleet, ("replace", {"with": {"kind": "siphon"}}), ref="siphon-1")
    second = {"replace": {"position": str(fleet.bench().places["siphon-2"]), "with": {"kind": "siphon"}}}
    body["entries"] = [{**body["entries"][0], "ref": "1"}, second]
    assert rosa.post(body).status_code == 201
    assert Device.objects.count() == before + 2
