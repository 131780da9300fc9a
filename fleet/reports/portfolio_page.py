"""A portfolio on one page, for its owner: what must not fire, what changed, what nobody knows, what comes."""

from collections import Counter
from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta

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
MAX_HELD_LINES, MAX_SOON_LINES = 14, 16  # what stands on one page; the number left off is said
NOT_FIRING = (Standing.HOLD.value, Standing.EXPOSED.value)


def compose_portfolio_page(portfolio: Portfolio, user: User, at: datetime) -> dict[str, object]:
    """Return everything on the page, as texts. `user` is who shares it: jobs are those that this person may see."""
    boilers = Boiler.objects.filter(portfolio=portfolio)
    rows = list(_standing_rows(boilers, at))
    counts = Counter(row.standing for row in rows)
    held = [row for row in rows if row.standing == Standing.HOLD]
    jobs = current_jobs_of_boilers(user, [row.boiler_id for row in held], at)
    open_rows = list(deficiencies_at(boilers, at).filter(closed_at=None, withdrawn=False))
    weeks, soon = _weekly_counts(boilers, at), list(_soon_lines(boilers, at))
    return {
        "title": portfolio.name,
        "sentences": [
            _not_to_fire_sentence(counts, len(rows)),
            _change_sentence(boilers, counts, at),
            _unknown_sentence(counts, open_rows),
        ],
        "counts": [(standing.value.replace("_", " "), str(counts[standing.value])) for standing in Standing],
        "held": [_held_json(row, jobs.get(row.boiler_id)) for row in held[:MAX_HELD_LINES]],
        "held_more": max(len(held) - MAX_HELD_LINES, 0),
        "soon": soon[:MAX_SOON_LINES],
        "soon_more": max(len(soon) - MAX_SOON_LINES, 0),
        "ages": _count_by_age(open_rows, at),
        "bands": _band_names(),
        "weeks": [
            {"day": f"{w.day:%d %b}", "bad": sum(w.counts[s] for s in NOT_FIRING), "all": _total(w)} for w in weeks
        ],
        "caution": ADVICE_CAUTION,
        "as_of": f"As of {local_day(at, 'UTC')}",
    }


def _standing_rows(boilers: QuerySet[Boiler], at: datetime) -> QuerySet[Segment]:
    rows = Segment.objects.filter(holds_at(at), boiler__in=boilers).select_related("boiler__building")
    return rows.order_by("rank", "since", "boiler__building__address", "boiler__name", "boiler_id")


def _not_to_fire_sentence(counts: Counter[str], total: int) -> str:
    held, exposed = counts[Standing.HOLD.value], counts[Standing.EXPOSED.value]
    first = f"{_count_boilers(held)} of {total} must not be left firing" if held else f"No boiler of {total} is on hold"
    second = f"{_count_boilers(exposed)} {'has' if exposed == 1 else 'have'} a hazard with nothing proven against it"
    return f"{first}; {second if exposed else 'none stands with a hazard that nothing is proven against'}."


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
    return (
        f"Not known: {' and '.join(parts)}." if parts else "Every boiler was surveyed, and all it needs is on record."
    )


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
