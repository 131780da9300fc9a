"""Jobs as iCalendar (RFC 5545): one event each, with a lasting UID and a SEQUENCE that grows."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from icalendar import Calendar
from icalendar import Event as Component

REFRESH_INTERVAL = timedelta(minutes=30)  # RFC 7986: how often a calendar may ask again


@dataclass(frozen=True, slots=True)
class CalendarEvent:
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


def build_calendar(name: str, events: Iterable[CalendarEvent]) -> bytes:
    """Return the calendar; times are in UTC, so that it needs no time zone definitions."""
    calendar = Calendar()
    calendar.add("prodid", "-//Gaugeglass//Jobs//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    calendar.add("name", name)
    calendar.add("refresh-interval", REFRESH_INTERVAL, parameters={"VALUE": "DURATION"})
    for event in events:
        calendar.add_component(_event_component(event))
    return bytes(calendar.to_ical())


def _event_component(event: CalendarEvent) -> Component:
    component = Component()
    component.add("uid", event.uid)
    component.add("sequence", event.sequence)
    component.add("dtstamp", event.stamp.astimezone(UTC))
    component.add("last-modified", event.stamp.astimezone(UTC))
    component.add("dtstart", event.since.astimezone(UTC))
    component.add("dtend", event.until.astimezone(UTC))
    component.add("status", event.status)
    component.add("summary", event.summary)
    component.add("description", event.description)
    component.add("location", event.place)
    component.add("transp", "TRANSPARENT" if event.cancelled else "OPAQUE")
    return component
