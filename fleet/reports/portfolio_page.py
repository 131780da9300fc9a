"""A portfolio on one page, for its owner: what must not fire, what changed, what nobody knows, what comes."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from itertools import accumulate
from uuid import UUID

from django.db.models import QuerySet

from fleet.accounts.models import User
from fleet.board.models import Segment
from fleet.board.queries import holds_at
from fleet.calendar import day_of
from fleet.deficiencies.deficiency_lists import deficiencies_at
from fleet.deficiencies.life import level_at
from fleet.deficiencies.models import Deficiency
from fleet.figures.forecast import steps_of
from fleet.figures.standing_counts import AGE_BANDS, DayCounts, standings_per_day
from fleet.jobs.current_job import CurrentJob, current_jobs_of_boilers
from fleet.portfolio.models import Boiler, Portfolio
from fleet.rules.finding_codes import FindingCode
from fleet.rules.values import LEVELS, Level, Standing
from fleet.rules.wording import ADVICE_CAUTION, local_day

SOON = timedelta(days=60)
MONTH = timedelta(days=30)
CHART_WEEKS = 26
# What stands on one page, in lines of text of so many letters; nothing is cut, and the number left off is said.
MAX_HELD_LINES, HELD_LETTERS = 30, 115
MAX_SOON_LINES, SOON_LETTERS = 18, 70
NOT_FIRING = (Standing.HOLD.value, Standing.EXPOSED.value)


def compose_portfolio_page(portfolio: Portfolio, user: User, at: datetime) -> dict[str, object]:
    """Return everything on the page, as texts. `user` is who shares it: jobs are those that this person may see."""
    boilers = Boiler.objects.filter(portfolio=portfolio)
    rows, total = list(_standing_rows(boilers, at)), boilers.count()
    counts = Counter(row.standing for row in rows)
    counts[Standing.NOT_SURVEYED.value] += total - len(rows)  # on record, and not judged yet
    held = [row for row in rows if row.standing == Standing.HOLD]
    jobs = current_jobs_of_boilers(user, [row.boiler_id for row in held], at)
    open_rows = list(deficiencies_at(boilers, at).filter(closed_at=None, withdrawn=False))
    off_with_holds = _boilers_with_holds(open_rows, at) - {row.boiler_id for row in held}
    held_lines = [_held_json(row, jobs.get(row.boiler_id)) for row in held]
    return {
        "title": portfolio.name,
        "sentences": [
            _not_to_fire_sentence(counts, total, len(off_with_holds)),
            _change_sentence(boilers, counts, at),
            _unknown_sentence(counts, open_rows),
        ],
        "counts": [(standing.value.replace("_", " "), str(counts[standing.value])) for standing in Standing],
        "none_held": f"{_none_held_text(len(off_with_holds))}.",
        **_lines_that_fit("held", held_lines, HELD_LETTERS, MAX_HELD_LINES),
        **_lines_that_fit("soon", list(_soon_lines(boilers, at)), SOON_LETTERS, MAX_SOON_LINES),
        "ages": _count_by_age(open_rows, at),
        "bands": _band_names(),
        "weeks": [
            {"day": f"{w.day:%d %b}", "bad": sum(w.counts[s] for s in NOT_FIRING), "all": _total(w)}
            for w in _weekly_counts(boilers, at)
        ],
        "caution": ADVICE_CAUTION,
        "as_of": f"As of {local_day(at, 'UTC')}",
    }


def _standing_rows(boilers: QuerySet[Boiler], at: datetime) -> QuerySet[Segment]:
    rows = Segment.objects.filter(holds_at(at), boiler__in=boilers).select_related("boiler__building")
    return rows.order_by("rank", "since", "boiler__building__address", "boiler__name", "boiler_id")


def _boilers_with_holds(open_rows: Iterable[Deficiency], at: datetime) -> set[UUID]:
    return {row.boiler_id for row in open_rows if level_at(row, at) == Level.HOLD}


def _not_to_fire_sentence(counts: Counter[str], total: int, off_with_holds: int) -> str:
    """Return what is known of hold and exposed, and of how many boilers that says nothing."""
    held, exposed, unsurveyed = (counts[s.value] for s in (Standing.HOLD, Standing.EXPOSED, Standing.NOT_SURVEYED))
    first = f"{_count_boilers(held)} of {total} must not be left firing" if held else _none_held_text(off_with_holds)
    second = f"{_count_boilers(exposed)} {'has' if exposed == 1 else 'have'} a hazard with nothing proven against it"
    none_exposed = "no boiler in service is on record with a hazard that nothing is proven against"
    rest = f" {_off_text(off_with_holds)}." if held and off_with_holds else ""
    rest += f" This says nothing of {_count_boilers(unsurveyed)} never surveyed." if unsurveyed else ""
    return f"{first}; {second if exposed else none_exposed}.{rest}"


def _none_held_text(off_with_holds: int) -> str:
    if off_with_holds:
        return f"No boiler in service is on hold, and {_off_text(off_with_holds)}"
    return "No boiler on record is on hold"


def _off_text(count: int) -> str:
    return f"{_count_boilers(count)} that {'is off has' if count == 1 else 'are off have'} an open hold"


def _lines_that_fit(name: str, rows: Sequence[dict[str, str]], letters: int, lines: int) -> dict[str, object]:
    """Return the first of `rows` under `name`, as many as fit, and how many were left off."""
    count = count_that_fit(rows, letters, lines)
    return {name: rows[:count], f"{name}_more": len(rows) - count}


def count_that_fit(rows: Sequence[Mapping[str, str]], letters: int, lines: int) -> int:
    """Return how many of `rows` stand in so many lines of text, the first one in any case."""
    used = accumulate(-(-len(" ".join(row.values())) // letters) for row in rows)
    return max(sum(1 for total in used if total <= lines), min(len(rows), 1))


def _change_sentence(boilers: QuerySet[Boiler], counts: Counter[str], at: datetime) -> str:
    day = day_of(at - MONTH, "UTC")
    before = standings_per_day(boilers, day, day)[0].counts
    changes = [
        f"{name.value.replace('_', ' ')} {before[name.value]} to {counts[name.value]}"
        for name in Standing
        if before[name.value] != counts[name.value]
    ]
    since = local_day(at - MONTH, "UTC")
    return f"Since {since}: {', '.join(changes)}." if changes else f"No count has changed since {since}."


def _unknown_sentence(counts: Counter[str], open_rows: Iterable[Deficiency]) -> str:
    unsurveyed = counts[Standing.NOT_SURVEYED.value]
    gaps = sum(1 for row in open_rows if row.rule == FindingCode.NOT_ON_RECORD)
    parts = [f"{_count_boilers(unsurveyed)} never surveyed"] if unsurveyed else []
    parts += [f"{_count_boilers(gaps)} with devices that are not on record"] if gaps else []
    nothing_missing = "No boiler stands as not surveyed, and no open deficiency names a device that is not on record."
    return f"Not known: {' and '.join(parts)}." if parts else nothing_missing


def _count_boilers(count: int) -> str:
    return f"{count} boiler{'' if count == 1 else 's'}"


def _held_json(row: Segment, job: CurrentJob | None) -> dict[str, str]:
    who = "nobody"
    if job is not None and job.job.technician is not None and job.job.planned_since is not None:
        zone = row.boiler.building.zone
        who = f"{job.job.technician.display_name}, {local_day(job.job.planned_since, zone)}"
    reason = row.reasons[0]["sentence"] if row.reasons else ""
    return {
        "boiler": f"{row.boiler.building.address}, {row.boiler.name}",
        "reason": reason,
        "act": row.then,
        "who": who,
    }


def _soon_lines(boilers: QuerySet[Boiler], at: datetime) -> Iterator[dict[str, str]]:
    """Yield what lapses within 60 days if nobody does anything, by house and day."""
    for step in steps_of(boilers, at, weeks=10):
        if step.state == "lapsed" and step.since is not None and step.since <= at + SOON:
            building = step.boiler.building
            place = f"{building.address}, {step.boiler.name}: {step.position.name}"
            yield {"day": local_day(step.since, building.zone), "place": place}


def _count_by_age(open_rows: Iterable[Deficiency], at: datetime) -> list[tuple[str, list[str]]]:
    """Return how many deficiencies of each class are open, by age band, worst class first."""
    counts: Counter[tuple[str, int]] = Counter()
    for row in open_rows:
        age = (at - row.opened_at).days
        counts[level_at(row, at) or Level.ROUTINE.value, max(band for band in AGE_BANDS if band <= age)] += 1
    return [(level, [str(counts[level, band]) for band in AGE_BANDS]) for level in LEVELS]


def _band_names() -> list[str]:
    return [f"from {low} days" if low else f"under {AGE_BANDS[1]} days" for low in AGE_BANDS]


def _weekly_counts(boilers: QuerySet[Boiler], at: datetime) -> list[DayCounts]:
    last = day_of(at, "UTC")
    days = standings_per_day(boilers, last - timedelta(weeks=CHART_WEEKS), last)
    return days[::7]


def _total(day: DayCounts) -> int:
    return sum(day.counts.values())


TABLE_HEAD = ("Building", "Boiler", "Standing", "Since", "Reason", "First act", "Goes")


def compose_portfolio_table(portfolio: Portfolio, user: User, at: datetime) -> Iterator[tuple[str, ...]]:
    """Yield the standing of every boiler, the worst first, under a row of headings. `user` is who reads it."""
    rows = list(_standing_rows(Boiler.objects.filter(portfolio=portfolio), at))
    jobs = current_jobs_of_boilers(user, [row.boiler_id for row in rows], at)
    yield TABLE_HEAD
    for row in rows:
        told = _held_json(row, jobs.get(row.boiler_id))
        building = row.boiler.building
        since = local_day(row.since, building.zone) if row.since else ""
        standing = row.standing.replace("_", " ")
        yield (building.address, row.boiler.name, standing, since, told["reason"], told["act"], told["who"])
