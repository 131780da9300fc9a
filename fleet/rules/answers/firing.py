"""A boiler that fires, or may, by the newest word of it: on hold, or off on record."""

from collections.abc import Iterator, Sequence

from fleet.calendar.spans import true_spans
from fleet.rules.finding_codes import FindingCode
from fleet.rules.replay.firing_reports import firing_reports
from fleet.rules.timeline.boundaries import Timeline
from fleet.rules.values import Condition, Level


def hold_but_firing_conditions(timeline: Timeline, holds: Sequence[Condition]) -> Iterator[Condition]:
    """Yield the spans in which the boiler was on hold (the conditions given) and last seen or left firing."""
    for begin, end in true_spans(firing_reports(timeline.evidence)):
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


def fired_while_off_conditions(timeline: Timeline) -> Iterator[Condition]:
    """Yield the spans in which the boiler was off on record and fired: urgent, hold where a hold was open in it."""
    for case, levels in zip(timeline.cases, timeline.levels, strict=True):
        if case.rule.code == FindingCode.FIRING_WHILE_OFF:
            worst = Level.HOLD if any(s.level is Level.HOLD for s in levels) else Level.URGENT
            yield Condition(
                "firing_while_off",
                timeline.evidence.boiler,
                since=case.opened_at,
                until=case.closed_at,
                level=worst,
                sentence=case.sentence,
            )
