"""Terms as they arrive, and what they can be refused for. All faults at once."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from fleet.calendar import Interval, day_of
from fleet.errors import Fault
from fleet.rules.catalogue import Catalogue
from fleet.terms.models import Adoption
from fleet.terms.values import parse_season

ANCHORS = ("", "season")
DAY_LIMITS = {"urgent_days": (1, 90), "due_soon_days": (0, 365), "operator_firing_days": (1, 90)}  # common practice
MAX_GRACE_DAYS = 366
GAUGE_PSI_LIMITS = (30.0, 60.0)  # no narrower than the least range (S12), no wider than the widest (from memory)
RELIEF_RULES = ("output_only", "greater_of")
OVERRIDE_FIELDS = {"interval", "anchor", "grace_days", "source"}


@dataclass(frozen=True, slots=True)
class IncomingTerms:
    """Terms that a portfolio adopts. `starts_on` is a local day of each building; the first terms have none."""

    starts_on: date | None = None
    season: str = "10-01/05-31"
    urgent_days: int = 7
    due_soon_days: int = 14
    operator_firing_days: int = 30
    variants: Mapping[str, str] = field(default_factory=dict)
    overrides: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    gauge_most_psi: float = 60.0
    relief_rule: str = "output_only"


def terms_faults(
    terms: IncomingTerms, newest: Adoption | None, zones: Iterable[str], catalogue: Catalogue, at: datetime
) -> list[Fault]:
    """Return everything wrong with the terms; an empty list if they may be adopted."""
    other_faults = [*_interval_faults(terms, catalogue), *_relief_and_gauge_faults(terms)]
    return [*_start_faults(terms, newest, zones, at), *_season_faults(terms), *_day_count_faults(terms), *other_faults]


def _start_faults(terms: IncomingTerms, newest: Adoption | None, zones: Iterable[str], at: datetime) -> Iterator[Fault]:
    """Yield the faults of the first day. The first terms hold for all time.

    Later terms begin on a day that has begun in no building yet, so that nothing is judged differently in retrospect.
    """
    place = ("starts_on",)
    if newest is None:
        if terms.starts_on is not None:
            yield Fault("first_terms", "The first terms hold for all time and have no first day.", place)
        return
    first = max((day_of(at, zone) for zone in zones), default=day_of(at, "UTC")) + timedelta(days=1)
    if terms.starts_on is None:
        yield Fault("required", "Later terms need a first day.", place)
    elif terms.starts_on < first:
        yield Fault("not_before_tomorrow", f"Later terms can begin on {first.isoformat()} at the earliest.", place)
    elif newest.starts_on and terms.starts_on < newest.starts_on:
        yield Fault("before_the_last", f"The terms adopted last begin on {newest.starts_on.isoformat()}.", place)


def _season_faults(terms: IncomingTerms) -> Iterator[Fault]:
    try:
        if terms.season:
            parse_season(terms.season)
    except ValueError:
        yield Fault("not_a_season", "Write a season like 10-01/05-31, or leave it empty.", ("season",))


def _day_count_faults(terms: IncomingTerms) -> Iterator[Fault]:
    for name, (low, high) in DAY_LIMITS.items():
        if not low <= getattr(terms, name) <= high:
            yield Fault("not_possible", f"{name} must be between {low} and {high}.", (name,))


def _interval_faults(terms: IncomingTerms, catalogue: Catalogue) -> Iterator[Fault]:
    for code, name in terms.variants.items():
        if (code, name) not in catalogue.variants:
            yield Fault("unknown_variant", f"There is no published variant {name!r} of {code!r}.", ("variants", code))
    for code, override in terms.overrides.items():
        if code not in catalogue.procedures:
            yield Fault("unknown_procedure", f"There is no procedure {code!r}.", ("overrides", code))
        yield from _override_faults(override, ("overrides", code))


def _relief_and_gauge_faults(terms: IncomingTerms) -> Iterator[Fault]:
    low, high = GAUGE_PSI_LIMITS
    if not low <= terms.gauge_most_psi <= high:
        yield Fault("not_possible", f"gauge_most_psi must be between {low:g} and {high:g}.", ("gauge_most_psi",))
    if terms.relief_rule not in RELIEF_RULES:
        yield Fault("unknown_choice", f"relief_rule must be one of {', '.join(RELIEF_RULES)}.", ("relief_rule",))


def _override_faults(override: Mapping[str, Any], place: tuple[str, str]) -> Iterator[Fault]:
    for name in sorted(override.keys() - OVERRIDE_FIELDS):
        yield Fault("unknown_field", "Unknown field.", (*place, name))
    if not _is_interval(override.get("interval")):
        yield Fault("not_an_interval", "Write an interval like 3 mo or 1 w.", (*place, "interval"))
    if override.get("anchor", "") not in ANCHORS:
        yield Fault("unknown_anchor", "The anchor must be season, or left out.", (*place, "anchor"))
    grace = override.get("grace_days")
    if not isinstance(grace, int) or isinstance(grace, bool) or not 0 <= grace <= MAX_GRACE_DAYS:
        yield Fault(
            "not_possible", f"grace_days must be a whole number from 0 to {MAX_GRACE_DAYS}.", (*place, "grace_days")
        )
    if not isinstance(override.get("source"), str) or not override["source"].strip():
        yield Fault("required", "An override must name its source.", (*place, "source"))


def _is_interval(text: object) -> bool:
    try:
        return isinstance(text, str) and bool(Interval.parse(text))
    except ValueError:
        return False
