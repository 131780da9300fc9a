"""How the rules say dates, lists and places: a date with its weekday, in the building's own days."""

from collections.abc import Iterable
from datetime import datetime
from functools import lru_cache

from fleet.calendar import day_of
from fleet.rules.values import Evidence, PositionFact

# Stands once on every page, list, answer and calendar entry that tells somebody what to do.
ADVICE_CAUTION = (
    "Advice to a qualified person, never a permission. Local codes, the boiler maker's instructions and a licensed "
    "person decide."
)

# English whatever the machine's locale, and looked up: a judgement says hundreds of dates.
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@lru_cache(8_192)
def local_day(at: datetime, zone: str) -> str:
    """Return the local day of an instant, as in "Tue 24 Nov 2026"."""
    day = day_of(at, zone)
    return f"{_DAYS[day.weekday()]} {day.day:02} {_MONTHS[day.month - 1]} {day.year}"


def join_with_or(names: Iterable[str]) -> str:
    """Join names by "or"."""
    listed = sorted(names)
    return " or ".join([", ".join(listed[:-1]), listed[-1]] if len(listed) > 1 else listed)


def asked_for(evidence: Evidence, needs: Iterable[Iterable[str]]) -> str:
    """Return what is still to pass, in words: "slow drain or evaporation", "valve closure and leak test"."""
    return " and ".join(
        sorted(join_with_or(evidence.procedure_by_code(code).name.lower() for code in group) for group in needs)
    )


# Roles that several things fill together, as their names in roles.csv say.
PLURAL_ROLES = frozenset({"fuel_valves", "try_cocks"})
_PLURALS = {
    "is": "are",
    "was": "were",
    "has": "have",
    "its": "their",
    "it": "they",
    "hangs": "hang",
    "needs": "need",
}


def agree(position: PositionFact, word: str) -> str:
    """Return a verb or pronoun in the number of a place: "is" of a cutoff, "are" of the fuel shut-off valves.

    A place of such a role that the register names in the singular, as one valve of a train, takes the singular.
    """
    is_plural = position.role in PLURAL_ROLES and position.name.rstrip().endswith("s")
    return _PLURALS[word] if is_plural else word
