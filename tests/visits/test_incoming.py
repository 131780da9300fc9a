"""One visit, one digest: whatever says the same is the same, whatever says something else is another."""

from dataclasses import fields, replace
from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any
from uuid import UUID, uuid5

import pytest

from fleet.visits.incoming import (
    IncomingEntry,
    IncomingPaper,
    IncomingPhotograph,
    IncomingVisit,
    PaperFile,
    Person,
    RegisterAnswer,
    visit_as_json,
)

HERE = UUID("0198f3c2-7c1e-7b7a-9a54-2f6d3f0c9a11")
AT = datetime(2026, 1, 12, 13, 0, tzinfo=UTC)
ENTRY = IncomingEntry(act="test", code="flush", position=HERE, at=AT, readings={"a": 8.0, "b": True})
VISIT = IncomingVisit(HERE, HERE, "routine_check", AT, (ENTRY,), (Person(HERE),), leaving_checks={"told": [{"n": 1}]})
FIT = IncomingEntry(act="fit", code="", position=HERE, at=AT, kind="siphon")

OTHER: dict[str, Any] = {
    "id": UUID(int=1),
    "boiler": UUID(int=1),
    "kind": "follow_up",
    "performed_at": AT + timedelta(microseconds=1),
    "entries": (ENTRY, ENTRY),
    "people": (Person(None, "Rosa"),),
    "call_for_heat": False,
    "state_on_arrival": "firing",
    "left_as": "firing",
    "leaving_checks": {"told": [{"n": 2}]},
    "note": "x",
    "corrects": HERE,
    "reason": "x",
    "void": True,
    "register_answers": (RegisterAnswer("co_alarm", "there"),),
    "paper": IncomingPaper(
        "valve_shop", "Harbor", "1", date(2025, 10, 20), PaperFile("a.pdf", "0" * 64, 1, "image/png")
    ),
    "photographs": (IncomingPhotograph("0" * 64, 1, "image/jpeg"),),
}
OTHER_ENTRY: dict[str, Any] = {
    "act": "action",
    "code": "x",
    "position": None,
    "at": AT + timedelta(seconds=1),
    "phase": "as_left",
    "outcome": "fail",
    "why": "no_part",
    "reason": "x",
    "readings": {"a": 8.0, "b": False},
    "kind": "siphon",
    "values": {"set_psi": 8},
    "device": HERE,
    "ref": "x",
}


def test_every_field_has_another_value_here() -> None:
    assert OTHER.keys() == {f.name for f in fields(IncomingVisit)}
    assert OTHER_ENTRY.keys() == {f.name for f in fields(IncomingEntry)}


@pytest.mark.parametrize("name", OTHER)
def test_another_value_in_any_field_is_another_digest(name: str) -> None:
    assert replace(VISIT, **{name: OTHER[name]}).digest != VISIT.digest


@pytest.mark.parametrize("name", OTHER_ENTRY)
def test_another_value_in_any_field_of_an_entry_is_another_digest(name: str) -> None:
    assert replace(VISIT, entries=(replace(ENTRY, **{name: OTHER_ENTRY[name]}),)).digest != VISIT.digest


def readings(**values: Any) -> IncomingVisit:
    return replace(VISIT, entries=(replace(ENTRY, readings=values),))


def test_the_order_of_readings_is_nothing_said() -> None:
    assert readings(a=1.0, b=True).digest == readings(b=True, a=1.0).digest


@pytest.mark.parametrize(("one", "other"), [(8, 8.0), (0, 0.0), (10**11, 1e11)])
def test_a_whole_number_is_the_same_with_its_point(one: float, other: float) -> None:
    assert readings(a=one).digest == readings(a=other).digest


@pytest.mark.parametrize(("one", "other"), [(1, True), (0, False), (0, None), ("8", 8), ("", None), (8, 8.000001)])
def test_what_only_looks_alike_is_not_the_same(one: Any, other: Any) -> None:
    assert readings(a=one).digest != readings(a=other).digest


def test_one_instant_is_the_same_in_every_zone() -> None:
    there = AT.astimezone(timezone(timedelta(hours=-5)))
    assert replace(VISIT, performed_at=there).digest == VISIT.digest


def test_the_order_of_entries_is_said() -> None:
    other = replace(ENTRY, code="slow_drain")
    assert replace(VISIT, entries=(ENTRY, other)).digest != replace(VISIT, entries=(other, ENTRY)).digest


def test_a_visit_becomes_json_without_losing_a_field() -> None:
    later_fields = {name: OTHER[name] for name in ("register_answers", "paper", "photographs")}
    whole = replace(VISIT, **later_fields)
    assert visit_as_json(whole).keys() == OTHER.keys()
    # Visits from before there were answers, papers and photographs keep their digests.
    assert visit_as_json(VISIT).keys() == OTHER.keys() - later_fields.keys()


@pytest.mark.parametrize(
    ("entry", "expected"),
    [
        (ENTRY, None),
        (FIT, uuid5(HERE, "device 0")),
        (replace(FIT, ref="new"), uuid5(HERE, "device 'new'")),
        (replace(FIT, ref="0"), uuid5(HERE, "device '0'")),
        (replace(FIT, ref="new", device=HERE), HERE),
    ],
)
def test_a_device_has_the_senders_id_or_one_that_follows_from_the_visit(
    entry: IncomingEntry, expected: UUID | None
) -> None:
    assert replace(VISIT, entries=(entry,)).device_id(0) == expected


def test_entries_of_one_visit_have_ids_that_a_repeat_has_too() -> None:
    assert VISIT.entry_id(0) != VISIT.entry_id(1)
    assert VISIT.entry_id(1) == replace(VISIT, note="x").entry_id(1)


@pytest.mark.parametrize(
    ("act", "inner"), [("test", ()), ("action", ()), ("observe", ()), ("fit", ("fit",)), ("set", ("set",))]
)
def test_an_act_on_the_occupant_has_a_form_of_its_own(act: str, inner: tuple[str, ...]) -> None:
    assert replace(ENTRY, act=act).inner == inner
