"""Hold but firing: the boiler is on hold and the newest word of it says that it fires, or may."""

from collections.abc import Iterator, Sequence
from datetime import datetime

from fleet.rules.boundaries import Timeline
from fleet.rules.values import Condition, Entry, Level

_OFF = ("off", "no_power", "locked_out")
_LEFT_FIRING = ("firing", "on_call")


def hold_but_firing(timeline: Timeline, holds: Sequence[Condition]) -> Iterator[Condition]:
    """Yield the spans in which the boiler was on hold (the conditions given) and last seen or left firing."""
    for begin, end in _firing(timeline):
        for hold in holds:
            since = max(begin, hold.since)
            until = min((t for t in (end, hold.until) if t is not None), default=None)
            if until is None or since < until:
                told = f"On hold, and by the newest word firing: {hold.sentence}"
                yield Condition("hold_but_firing", timeline.evidence.boiler, since, until, Level.HOLD, told)


def _firing(timeline: Timeline) -> Iterator[tuple[datetime, datetime | None]]:
    """Spans in which the newest word is that the boiler fires."""
    since: datetime | None = None
    for at, fires in _words(timeline):
        if fires and since is None:
            since = at
        elif not fires and since is not None:
            if since < at:
                yield since, at
            since = None
    if since is not None:
        yield since, None


def _words(timeline: Timeline) -> Iterator[tuple[datetime, bool]]:
    """Every word on whether the boiler fires, in order; a visit's last word is how it was left."""
    for visit in sorted((v for v in timeline.evidence.visits if v.own), key=lambda v: (v.at, v.id)):
        qualified = bool(visit.qualifications - {"operator"})
        safe = qualified and visit.left_as in ("off_ready", "off_locked", "attended")
        if visit.state_on_arrival in ("firing", *_OFF) and not safe:
            yield visit.at, visit.state_on_arrival == "firing"
        if any(_fires(e) for e in visit.entries) and not safe:
            yield visit.at, True
        if visit.left_as:
            yield timeline.run.after[visit.id].at, visit.left_as in _LEFT_FIRING


def _fires(entry: Entry) -> bool:
    """A burner seen firing, or pressure on the gauge."""
    if entry.readings.get("burner_firing") is True:
        return True
    psi = entry.readings.get("gauge_psi")
    return isinstance(psi, (int, float)) and not isinstance(psi, bool) and psi > 0
