"""Hold but firing: the boiler is on hold and the newest word of it says that it fires, or may."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from uuid import UUID

from fleet.calendar.spans import true_spans
from fleet.rules.timeline.boundaries import Timeline
from fleet.rules.values import Condition, EntryFact, Level, VisitFact, as_number
from fleet.rules.vocabulary import FOUND_OFF, LEFT_FIRING, LEFT_OFF, ArrivalState, EntryAct, LeftAs

AFTER_LAST_ENTRY = 1_000_000  # after every entry of a visit


def hold_but_firing_conditions(timeline: Timeline, holds: Sequence[Condition]) -> Iterator[Condition]:
    """Yield the spans in which the boiler was on hold (the conditions given) and last seen or left firing."""
    for begin, end in true_spans(_firing_reports(timeline)):
        for hold in holds:
            since = max(begin, hold.since)
            until = min((t for t in (end, hold.until) if t is not None), default=None)
            if until is None or since < until:
                sentence = f"On hold, and by the newest word firing: {hold.sentence}"
                yield Condition(
                    "hold_but_firing",
                    timeline.evidence.boiler,
                    since=since,
                    until=until,
                    level=Level.HOLD,
                    sentence=sentence,
                )


def _firing_reports(timeline: Timeline) -> Iterator[tuple[datetime, bool]]:
    """Yield every report on whether the boiler fires, in order. The last report of a visit is how it was left."""
    visits = {v.id: v for v in timeline.evidence.visits if v.of_this_boiler}.values()
    words = [word for visit in visits for word in _reports_of_visit(visit, timeline.run.after[visit.id].at)]
    yield from ((at, fires) for at, _, fires in sorted(words))


def _reports_of_visit(visit: VisitFact, end: datetime) -> Iterator[tuple[datetime, tuple[UUID, int], bool]]:
    """Yield the reports of one visit, each with its instant and its place among those of the same instant."""
    qualified = bool(visit.qualifications - {"operator"})
    # Fired to test, with somebody qualified at the boiler the whole time, it was not left firing.
    safe = qualified and visit.left_as in (*LEFT_OFF, LeftAs.ATTENDED)
    if visit.state_on_arrival in (ArrivalState.FIRING, *FOUND_OFF) and not safe:
        yield visit.at, (visit.id, -1), visit.state_on_arrival == ArrivalState.FIRING
    for entry in visit.entries:
        fires = _is_firing(entry)
        if fires is not None and not (safe and fires):
            yield entry.at, (visit.id, entry.number), fires
    if visit.left_as in LEFT_FIRING or visit.left_as in LEFT_OFF or safe:
        yield end, (visit.id, AFTER_LAST_ENTRY), visit.left_as in LEFT_FIRING


def _is_firing(entry: EntryFact) -> bool | None:
    """Return whether an entry says that the burner fired: seen firing, or with pressure. None if it says nothing."""
    if entry.act == EntryAct.OBSERVE and entry.code in ("found_off", "left_off"):
        return False
    pressure = (as_number(entry.readings.get("gauge_psi")) or 0.0) > 0
    seen_firing = entry.act == EntryAct.OBSERVE and entry.code == "found_firing"
    return True if seen_firing or pressure or entry.readings.get("burner_firing") is True else None
