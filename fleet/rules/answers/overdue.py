"""Conditions of things left undone: deficiencies past their date, repairs not proven, a season without its visit."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from uuid import UUID

from fleet.calendar import HeatingSeason, day_of, day_start
from fleet.rules.finding_codes import FindingCode
from fleet.rules.ledger.episodes import EpisodeCase
from fleet.rules.timeline.boundaries import Timeline
from fleet.rules.values import ActFact, Condition, Level, LevelSegment, PositionStateSegment, deficiency_id, paper_id
from fleet.rules.wording import local_day

SEASON_VISITS = ("season_start", "annual_service")
SEASON_EARLY_DAYS = 90  # a service this long before the season starts serves for it (common practice)


def past_date_alerts(timeline: Timeline, acts: Sequence[ActFact]) -> Iterator[Condition]:
    """Yield urgent deficiencies that are open after the portfolio's days. Holds have alerts of their own.

    A deferral silences its deficiency until it ends, or until the class rises above the one it was deferred at.
    """
    for case, levels in zip(timeline.cases, timeline.levels, strict=True):
        deferred = [a for a in acts if a.kind == "deferred" and a.subject == _deficiency_subject(timeline, case)]
        for segment in levels:
            # What registers leave out is one alert of the portfolio, told since it began.
            if segment.level is Level.URGENT and case.rule.code != FindingCode.NOT_ON_RECORD:
                silent = [(a.at, a.until) for a in deferred if _is_within(a.at, segment)]
                for condition in _past_date_conditions(timeline, case, segment):
                    yield from _outside_spans(condition, sorted(silent, key=lambda s: s[0]))


def _is_within(at: datetime, segment: LevelSegment) -> bool:
    return segment.since <= at and (segment.until is None or at < segment.until)


def _outside_spans(condition: Condition, silent: Sequence[tuple[datetime, datetime | None]]) -> Iterator[Condition]:
    """Yield what is left of a condition outside the spans in which reminders are silent."""
    since = condition.since
    for begin, end in silent:
        if since < begin and (condition.until is None or begin < condition.until):
            yield replace(condition, since=since, until=begin)
        if end is None:
            return
        since = max(since, end)
    if condition.until is None or since < condition.until:
        yield replace(condition, since=since)


def _past_date_conditions(timeline: Timeline, case: EpisodeCase, segment: LevelSegment) -> Iterator[Condition]:
    zone = timeline.evidence.zone
    days = timeline.evidence.terms_at(segment.since).urgent_days
    last = day_of(segment.since, zone) + timedelta(days=days)
    since = day_start(last + timedelta(days=1), zone)
    if segment.until is None or since < segment.until:
        sentence = f"Past its date of {last:%a %d %b %Y}: {case.sentence}"
        yield Condition(
            "past_date",
            _deficiency_subject(timeline, case),
            since=since,
            until=segment.until,
            level=Level.URGENT,
            sentence=sentence,
        )


def _deficiency_subject(timeline: Timeline, case: EpisodeCase) -> UUID:
    return deficiency_id(timeline.evidence.boiler, case.position, case.rule.code, case.episode)


def repaired_not_proven(timeline: Timeline, acts: Sequence[ActFact]) -> Iterator[Condition]:
    """Yield repairs that were claimed, in a visit or by a report, from the claim to the proof."""
    zone = timeline.evidence.zone
    for case in timeline.cases:
        since = repaired_at(timeline, case, acts)
        if since is not None and (case.closed_at is None or since < case.closed_at):
            sentence = f"Said to be repaired on {local_day(since, zone)} and not proven since: {case.sentence}"
            subject = _deficiency_subject(timeline, case)
            yield Condition(
                "repaired_not_proven", subject, since=since, until=case.closed_at, level=Level.URGENT, sentence=sentence
            )


def repaired_at(timeline: Timeline, case: EpisodeCase, acts: Sequence[ActFact]) -> datetime | None:
    """Return when a repair was first claimed after the fault was last found. An earlier claim did not help."""
    found_at = case.newest_at or case.opened_at
    own_reports = [a for a in acts if a.kind == "repair_reported" and a.subject == _deficiency_subject(timeline, case)]
    repair_reports = [
        a.at for a in own_reports if a.at >= found_at and (case.closed_at is None or a.at < case.closed_at)
    ]
    return min([*repair_reports, *([case.acted_at] if case.acted_at else [])], default=None)


def certificate_conditions(timeline: Timeline) -> Iterator[Condition]:
    """Yield papers that run out within the portfolio's lead, until a newer one of the same kind is there."""
    evidence = timeline.evidence
    for paper in evidence.papers:
        out = day_start(paper.until + timedelta(days=1), evidence.zone)
        since = max(paper.since, out - timedelta(days=evidence.terms_at(out).due_soon_days))
        newer = [p.since for p in evidence.papers if p.kind == paper.kind and p.since > paper.since]
        until = min(newer, default=None)
        if until is None or since < until:
            sentence = f"The {paper.name} runs out on {paper.until:%a %d %b %Y}."
            subject = paper_id(evidence.boiler, paper.kind)
            yield Condition(
                "certificate_running_out", subject, since=since, until=until, level=Level.ROUTINE, sentence=sentence
            )


def due_soon_conditions(timeline: Timeline, states: Sequence[PositionStateSegment]) -> Iterator[Condition]:
    """Yield full proofs that will be due within the portfolio's lead. Operator proofs are left out."""
    for position in dict.fromkeys(s.position for s in states):
        segments = timeline.states_of(position)
        by_due: dict[datetime, list[PositionStateSegment]] = {}
        for segment in segments:
            if segment.full_due:
                by_due.setdefault(segment.full_due, []).append(segment)
        for due, due_segments in by_due.items():
            begin, end = due_segments[0].since, due_segments[-1].until
            since = due - timedelta(days=timeline.evidence.terms_at(due).due_soon_days)
            until = min(due, end) if end else due
            if begin is not None and begin < since < until:
                name, zone = timeline.evidence.positions_by_id[position].name, timeline.evidence.zone
                by = "By what was declared, the" if "declared" in due_segments[0].marks else "The"
                sentence = f"{by} full proof of the {name} is due on {local_day(due, zone)}."
                yield Condition("due_soon", position, since=since, until=until, level=Level.ROUTINE, sentence=sentence)


def missed_season_conditions(timeline: Timeline) -> Iterator[Condition]:
    """Yield heating seasons that began without the season's visit."""
    if timeline.surveyed_at is None:
        return
    zone, ends = timeline.evidence.zone, [a.at for a in timeline.run.after.values()]
    first, last = day_of(timeline.surveyed_at, zone), day_of(max(ends), zone)
    season = timeline.evidence.terms_at(max(ends)).season
    for start in _season_starts(season, first, last) if season else ():
        served, begin = _served_at(timeline, start), day_start(start, zone)
        # A season nobody served the boiler for ends where the next one begins.
        following = day_start(season.first_start_on_or_after(start + timedelta(days=1)), zone) if season else None
        until = min((t for t in (served, following) if t), default=None)
        if until is not None and until > begin and timeline.service_at(begin).runs:
            sentence = f"The season began on {start:%a %d %b %Y} without its visit."
            yield Condition(
                "season_without_visit",
                timeline.evidence.boiler,
                since=begin,
                until=until,
                level=Level.URGENT,
                sentence=sentence,
            )


def _season_starts(season: HeatingSeason, first: date, last: date) -> Iterator[date]:
    """Yield the season starts after the first survey, and the next one to come."""
    start = season.first_start_on_or_after(first + timedelta(days=1))
    while start <= last:
        yield start
        start = season.first_start_on_or_after(start + timedelta(days=1))
    yield start


def _served_at(timeline: Timeline, start: date) -> datetime | None:
    """Return when a visit that serves for this season start ended, None if none did."""
    zone = timeline.evidence.zone
    early = day_start(start - timedelta(days=SEASON_EARLY_DAYS), zone)
    # A paper tells of tests elsewhere: nobody served the boiler with it.
    visits = [v for v in timeline.evidence.visits if v.of_this_boiler and v.kind in SEASON_VISITS and not v.paper]
    visits = [v for v in visits if v.at >= early]
    return min((timeline.run.after[v.id].at for v in visits), default=None)
