"""Papers of others as the tests post them: a valve shop's, of the one safety valve of Alder Terrace."""

from collections.abc import Mapping
from datetime import UTC, date, datetime
from typing import Any
from uuid import uuid4

from fleet.pipeline import edits
from fleet.portfolio.models import Position
from fleet.records.events import Cause
from fleet.rules.values import Value
from fleet.visits.incoming import IncomingEntry, IncomingPaper, IncomingVisit, PaperFile, Person
from tests.cast import Fleet

SHOP_DAY = date(2026, 1, 10)
TESTED_AT = datetime(2026, 1, 10, 15, 0, tzinfo=UTC)
SHOP_PASS: Mapping[str, Value] = {"opens_psi": 15.0, "tight": True, "sealed": True}
SERIAL = "V-1001"
FILE = PaperFile("valve.pdf", "ab" * 32, 120_000, "application/pdf")


def paper(**more: Any) -> IncomingPaper:
    """The shop's paper of the tenth of January."""
    return IncomingPaper(
        **{
            "body": "valve_shop",
            "name": "Harbor Valve Shop",
            "number": "1001",
            "dated_on": SHOP_DAY,
            "file": FILE,
            **more,
        }
    )


def shop_test(fleet: Fleet, serial: str = "", at: datetime = TESTED_AT, **readings: Value) -> IncomingEntry:
    """The shop's test of the valve, passed unless a reading says otherwise."""
    return IncomingEntry(
        act="test",
        code="valve_shop_test",
        position=fleet.bench().places["valve"],
        at=at,
        outcome="pass",
        readings={**SHOP_PASS, **readings},
        values={"serial": serial} if serial else {},
    )


def paper_visit(fleet: Fleet, *entries: IncomingEntry, at: datetime = TESTED_AT, **more: Any) -> IncomingVisit:
    """The visit that rests on the paper, with the caretaker named as who holds it."""
    return IncomingVisit(
        **{
            "id": uuid4(),
            "boiler": fleet.bench().boiler.id,
            "kind": "follow_up",
            "performed_at": at,
            "entries": entries or (shop_test(fleet, at=at),),
            "people": (Person(fleet.caretaker.id),),
            "paper": paper(),
            **more,
        }
    )


def stamp_serial(fleet: Fleet, at: datetime, serial: str = SERIAL) -> None:
    """Put the valve's serial on record, as the register's page does."""
    edits.set_value(
        boiler=fleet.bench().boiler,
        position=Position.objects.get(id=fleet.bench().places["valve"]),
        key="serial",
        was="",
        text=serial,
        day=f"{at:%Y-%m-%d}",
        at=at,
        cause=Cause(who="office"),
    )
