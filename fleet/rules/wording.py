"""How the rules say dates and lists: a date with its weekday, in the building's own days."""

from collections.abc import Iterable
from datetime import datetime

from fleet.calendar import day_of
from fleet.rules.values import Evidence


def on(at: datetime, zone: str) -> str:
    """The local day of an instant, as in "Tue 24 Nov 2026"."""
    return day_of(at, zone).strftime("%a %d %b %Y")


def either(names: Iterable[str]) -> str:
    """Names joined by "or"."""
    listed = sorted(names)
    return " or ".join([", ".join(listed[:-1]), listed[-1]] if len(listed) > 1 else listed)


def asked_for(evidence: Evidence, needs: Iterable[Iterable[str]]) -> str:
    """What is still to pass, in words: "slow drain or evaporation", "valve closure and leak test"."""
    return " and ".join(sorted(either(evidence.procedure(code).name.lower() for code in group) for group in needs))
