"""How visits are posted: late, twice, mistyped and corrected."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from fleet.management.town.chance import Chance
from fleet.management.town.story_values import Failure, TownLine, TownVisit

LATE_SHARE, TWICE_SHARE, MISTYPED_SHARE = 0.04, 0.05, 0.012
RECENT_SPAN, WAITING_SPAN = timedelta(days=58), timedelta(days=150)


def add_slips(
    chance: Chance, visits: Sequence[TownVisit], crew: Sequence[str], now: datetime
) -> tuple[list[TownVisit], list[Failure]]:
    """Return the visits as posted, and as failures the typing errors that look like failures until corrected."""
    arriving_visits: list[TownVisit] = []
    slips: list[Failure] = []
    waiting_visit = _newest_with_limit(visits, now)
    for visit in visits:
        visit_chance = chance.branch(visit.boiler, visit.key)
        recent = now - visit.at < RECENT_SPAN
        if visit is waiting_visit:
            arriving_visits += _mistype_and_correct(visit_chance, visit, crew=(), recent=True, slips=slips)
            continue
        if visit_chance.happens(MISTYPED_SHARE) and visit.kind != "inspector":
            arriving_visits += _mistype_and_correct(visit_chance, visit, crew=crew, recent=recent, slips=slips)
            continue
        if visit.kind not in ("routine_check", "inspector") and visit_chance.happens(LATE_SHARE):
            visit = replace(visit, posted_at=visit.posted_at + timedelta(hours=visit_chance.whole_number(20, 200)))
        if recent and visit_chance.happens(TWICE_SHARE):
            visit = replace(visit, again_at=visit.posted_at + timedelta(minutes=visit_chance.whole_number(1, 900)))
        arriving_visits.append(visit)
    return arriving_visits, slips


def _newest_with_limit(visits: Sequence[TownVisit], now: datetime) -> TownVisit | None:
    """Return the visit whose correction waits today for a second name, None without one."""
    fits = [
        v for v in visits if timedelta(days=1) < now - v.at < WAITING_SPAN and any(_is_limit(line) for line in v.lines)
    ]
    return max(fits, key=lambda v: (v.at, v.boiler), default=None)


def _mistype_and_correct(
    chance: Chance, visit: TownVisit, crew: Sequence[str], recent: bool, slips: list[Failure]
) -> Iterator[TownVisit]:
    """Yield the mistyped visit and its correction. A second person confirms a correction out of a hold."""
    wrong = [_mistype(line) if recent else _mistype_harmlessly(line) for line in visit.lines]
    changed = [n for n, (line, was) in enumerate(zip(wrong, visit.lines, strict=True)) if line is not was]
    if not changed:
        yield visit
        return
    only = changed[0]
    lines = tuple(w if n == only else line for n, (w, line) in enumerate(zip(wrong, visit.lines, strict=True)))
    yield replace(visit, lines=lines)
    corrected_at = visit.posted_at + timedelta(minutes=chance.whole_number(20, 600))
    absent_names = [name for name in crew if name not in visit.people]
    hold = recent and lines[only].code == "limit_trip"
    second = (
        (absent_names[0], corrected_at + timedelta(hours=chance.whole_number(2, 40))) if hold and absent_names else None
    )
    yield replace(
        visit,
        key=f"{visit.key} corrected",
        posted_at=corrected_at,
        corrects=visit.key,
        reason="A figure was typed wrongly.",
        second=second,
    )
    if hold:
        place = lines[only].place
        slips.append(
            Failure(
                visit.boiler,
                place,
                trouble="slip_of_the_pen",
                failed_at=visit.at,
                rules=("limit_failed", "valve_did_not_open"),
                how="staged",
                found_at=visit.at,
                visit=visit.key,
            )
        )


def _mistype(line: TownLine) -> TownLine:
    """Return the line with 10 psi added to a limit trip (7.9 reads 17.9), else with a harmless error."""
    if _is_limit(line):
        return replace(line, readings={**line.readings, "trip_psi": float(line.readings["trip_psi"] or 0) + 10})
    return _mistype_harmlessly(line)


def _is_limit(line: TownLine) -> bool:
    return line.code == "limit_trip" and line.outcome == "pass" and bool(line.readings.get("trip_psi"))


def _mistype_harmlessly(line: TownLine) -> TownLine:
    """Return the line with an error that fails no test, or the line itself."""
    if line.code == "combustion_test" and line.outcome == "pass":
        return replace(line, readings={**line.readings, "stack_f": 44.0})
    if line.code == "flush" and line.outcome == "pass":
        return replace(line, readings={**line.readings, "sediment": "dirty"})
    return line
