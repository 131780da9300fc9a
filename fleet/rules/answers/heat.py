"""Whether a boiler gives heat, and from all boilers of a building whether anybody there is left in the cold."""

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from itertools import pairwise
from uuid import UUID

from fleet.calendar import day_of, day_start
from fleet.calendar.spans import Span, intersect_spans, merge_spans, subtract_spans, true_spans
from fleet.rules.finding_codes import FindingCode
from fleet.rules.timeline.boundaries import Timeline
from fleet.rules.values import Condition, HeatEvidence, Level, ServiceMode, Standing, StandingSegment, VisitFact
from fleet.rules.vocabulary import FOUND_GIVING_HEAT, FOUND_OFF, LEFT_FIRING, LEFT_OFF, EntryAct

AFTER_LAST_ENTRY = 1_000_000  # after every entry of a visit
HORIZON = timedelta(days=3 * 366)  # past and ahead of what is known: more is asked of no board


def heat_of_boiler(timeline: Timeline, standings: Sequence[StandingSegment]) -> HeatEvidence:
    """Return what one boiler's evidence says about heat."""
    # What stood before anything was known of the boiler left nobody in the cold.
    holds: list[Span] = [(s.since, s.until) for s in standings if s.standing is Standing.HOLD and s.since]
    visits = sorted(
        {v.id: v for v in timeline.evidence.visits if v.of_this_boiler}.values(), key=lambda v: (v.at, v.id)
    )
    ends = {v.id: timeline.run.after[v.id].at for v in visits}
    heatless = [(c.opened_at, c.closed_at) for c in timeline.cases if c.rule.code == FindingCode.STEAM_WITHOUT_HEAT]
    lit = [ends[v.id] for v in visits if v.left_as in LEFT_FIRING]
    calls = [ends[v.id] for v in visits if v.kind == "no_heat" and v.left_as not in LEFT_FIRING]
    return HeatEvidence(
        absent=tuple(merge_spans([*_not_in_service(timeline), *_never_heats(timeline)])),
        cold=tuple(
            merge_spans([*holds, *heatless, *true_spans((at, not on) for at, on in _heat_reports(visits, ends))])
        ),
        seasons=tuple(_heating_seasons(timeline)),
        calls=tuple(sorted(calls)),
        lit=tuple(sorted(lit)),
    )


def building_conditions(building: UUID, name: str, boilers: Sequence[HeatEvidence]) -> tuple[Condition, ...]:
    """Return when a building was without heat: all its boilers cold in season, or a no-heat call not answered.

    A condition begins with what caused it: the hold or lock-out of the last boiler, or the call.
    """
    if not boilers:
        return ()
    season = merge_spans(s for b in boilers for s in b.seasons)
    absent_spans = intersect_spans([list(b.absent) for b in boilers])
    none_heats = intersect_spans([merge_spans([*b.cold, *b.absent]) for b in boilers])
    cold = subtract_spans(intersect_spans([none_heats, season]), absent_spans)
    called = merge_spans(_unanswered_calls(boilers))
    cold_reason = "each boiler is on hold, locked out or off by its newest entry, or its steam brings none"
    cold_sentence = f"{name} is without heat: {cold_reason}."
    call_sentence = f"{name} may be without heat: no visit since the no-heat call left a boiler firing."
    spans = [(since, until, cold_sentence) for since, until in cold]
    spans += [(since, until, call_sentence) for since, until in subtract_spans(called, cold)]
    return tuple(
        Condition("building_without_heat", building, since=since, until=until, level=Level.HOLD, sentence=sentence)
        for since, until, sentence in sorted(spans, key=lambda f: (f[0] is not None, f[0]))
        if since is not None
    )


def _unanswered_calls(boilers: Sequence[HeatEvidence]) -> Iterator[Span]:
    lit = sorted(at for b in boilers for at in b.lit)
    for call in sorted(at for b in boilers for at in b.calls):
        yield call, next((at for at in lit if at > call), None)


def _not_in_service(timeline: Timeline) -> Iterator[Span]:
    """Yield the spans in which nobody counts on the boiler: laid up or retired. Without a word it is in service."""
    for change, following in pairwise([*timeline.services, None]):
        # Isolated it was taken out for a fault: its building counts on it all the same.
        if change is not None and not change.state.runs and change.state is not ServiceMode.ISOLATED:
            yield change.since, following.since if following else None


def _never_heats(timeline: Timeline) -> Iterator[Span]:
    """Yield the spans in which the register says that the boiler only makes domestic hot water."""
    heat_settings = [s for s in timeline.evidence.settings if s.position is None and s.key == "heats"]
    ordered = sorted(heat_settings, key=lambda s: (s.since, str(s.value)))
    for setting, following in pairwise([*ordered, None]):
        if setting is not None and setting.value is False:
            yield setting.since, following.since if following else None


def _heat_reports(visits: Sequence[VisitFact], ends: dict[UUID, datetime]) -> Iterator[tuple[datetime, bool]]:
    reports: list[tuple[datetime, UUID, int, bool]] = []
    for visit in visits:
        if visit.state_on_arrival in (*FOUND_OFF, *FOUND_GIVING_HEAT):
            reports.append((visit.at, visit.id, -1, visit.state_on_arrival in FOUND_GIVING_HEAT))
        for entry in visit.entries:
            if entry.act == EntryAct.OBSERVE and entry.code in ("found_off", "left_off", "found_firing"):
                reports.append((entry.at, visit.id, entry.number, entry.code == "found_firing"))
        if visit.left_as in (*LEFT_FIRING, *LEFT_OFF):
            reports.append((ends[visit.id], visit.id, AFTER_LAST_ENTRY, visit.left_as in LEFT_FIRING))
    yield from ((at, on) for at, _, _, on in sorted(reports))


def _heating_seasons(timeline: Timeline) -> Iterator[Span]:
    """Yield the heating seasons from three years before the first visit. Without a season, yield all of time."""
    zone, ends = timeline.evidence.zone, sorted(a.at for a in timeline.run.after.values())
    season = timeline.evidence.terms_at(ends[-1] if ends else None).season
    if season is None:
        yield None, None
        return
    day, last = day_of(ends[0] - HORIZON, zone) if ends else None, day_of(ends[-1] + HORIZON, zone) if ends else None
    while day is not None and last is not None and day <= last:
        start = season.first_start_on_or_after(day)
        yield day_start(start, zone), day_start(season.end_on_or_after(start) + timedelta(days=1), zone)
        day = start + timedelta(days=1)
