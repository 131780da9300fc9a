"""Jobs as iCalendar (RFC 5545): one event each, with a lasting UID and a SEQUENCE that grows."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from icalendar import Calendar
from icalendar import Event as Component

REFRESH = timedelta(minutes=30)  # RFC 7986: how often a calendar may ask again


@dataclass(frozen=True, slots=True)
class Event:
    """One job in a calendar."""

    uid: str
    sequence: int
    stamp: datetime
    since: datetime
    until: datetime
    cancelled: bool
    accepted: bool
    summary: str
    description: str
    place: str

    @property
    def status(self) -> str:
        """The STATUS of RFC 5545."""
        if self.cancelled:
            return "CANCELLED"
        return "CONFIRMED" if self.accepted else "TENTATIVE"


def calendar(name: str, events: Iterable[Event]) -> bytes:
    """Return the calendar; times are in UTC, so that it needs no time zone definitions."""
    made = Calendar()
    made.add("prodid", "-//Gaugeglass//Jobs//EN")
    made.add("version", "2.0")
    made.add("calscale", "GREGORIAN")
    made.add("method", "PUBLISH")
    made.add("name", name)
    made.add("refresh-interval", REFRESH, parameters={"VALUE": "DURATION"})
    for event in events:
        made.add_component(_component(event))
    return bytes(made.to_ical())


def _component(event: Event) -> Component:
    made = Component()
    made.add("uid", event.uid)
    made.add("sequence", event.sequence)
    made.add("dtstamp", event.stamp.astimezone(UTC))
    made.add("last-modified", event.stamp.astimezone(UTC))
    made.add("dtstart", event.since.astimezone(UTC))
    made.add("dtend", event.until.astimezone(UTC))
    made.add("status", event.status)
    made.add("summary", event.summary)
    made.add("description", event.description)
    made.add("location", event.place)
    made.add("transp", "TRANSPARENT" if event.cancelled else "OPAQUE")
    return made
