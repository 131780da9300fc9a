"""Adopting a call list: refused where a hold, a danger or a cold building would be told to nobody."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.db.models import Max, QuerySet

from fleet.accounts.models import User
from fleet.errors import Fault, Refused
from fleet.notices.call_list.lines import DEFAULT_LINES, INTERRUPTING, CallLine, line_faults, steps_for
from fleet.notices.call_list.recipients import Reachable, read_reachable
from fleet.notices.models import CallList
from fleet.portfolio.models import Building, Portfolio


@transaction.atomic
def adopt_call_list(
    *,
    portfolio: UUID,
    building: UUID | None,
    lines: Sequence[CallLine] | None,
    number: int,
    channels: Sequence[str],
    by: User,
    at: datetime,
) -> CallList:
    """Adopt a list for a portfolio, or one building of it; None goes back to the wider one.

    `number` is that of the list it replaces (0 for the first). The caller checks permission. Raises Refused: 412 where
    somebody else adopted one meanwhile, 422 with every fault and every hole.
    """
    Portfolio.objects.select_for_update(no_key=True).get(id=portfolio)
    current = newest_number(portfolio, building)
    if current != number:
        raise Refused("stale", f"This has changed. It is now at version {current}.", ("version",), status=412)
    if building is not None and not Building.objects.filter(id=building, portfolio=portfolio).exists():
        raise Refused("unknown", "Building not found.", ("building",), status=422)
    faults = list(_find_faults(portfolio, building, lines=lines, channels=channels, at=at))
    if faults:
        raise Refused.from_faults(faults, status=422)
    stored = None if lines is None else [line.as_json() for line in lines]
    return CallList.objects.create(
        portfolio_id=portfolio, building_id=building, lines=stored, at=at, by=by, number=current + 1
    )


def newest_number(portfolio: UUID, building: UUID | None) -> int:
    """Return the number of the newest list adopted here; 0 where none was."""
    rows = CallList.objects.filter(portfolio=portfolio, building=building)
    return int(rows.aggregate(Max("number"))["number__max"] or 0)


def _find_faults(
    portfolio: UUID, building: UUID | None, lines: Sequence[CallLine] | None, channels: Sequence[str], at: datetime
) -> Iterator[Fault]:
    reachable = read_reachable(portfolio, at)
    if lines is None:
        yield from _find_holes_of_wider(portfolio, building, reachable)
        return
    yield from line_faults(lines, channels)
    known_names = {user.get_username() for user in reachable.users.values()}
    for n, line in enumerate(lines):
        if line.hears.startswith("@") and line.hears[1:] not in known_names:
            yield Fault("unknown_person", f"{line.hears[1:]} has no role in this portfolio.", (n, "hears"))
    for house in _houses_told_by(portfolio, building, reachable):
        yield from find_holes(lines, house, reachable)


def _find_holes_of_wider(portfolio: UUID, building: UUID | None, reachable: Reachable) -> Iterator[Fault]:
    """Yield the holes of the list that counts once this one is given up: the portfolio's, or the default."""
    wider = DEFAULT_LINES if building is None else reachable.lines_of(None)
    for house in _houses_told_by(portfolio, building, reachable):
        yield from find_holes(wider, house, reachable)


def _houses_told_by(portfolio: UUID, building: UUID | None, reachable: Reachable) -> QuerySet[Building]:
    """Return the buildings that a list is for: its own, or all those without one."""
    houses = Building.objects.filter(portfolio=portfolio).order_by("address")
    if building is not None:
        return houses.filter(id=building)
    return houses.exclude(id__in=[house for house in reachable.lists if house is not None])


def find_holes(lines: Sequence[CallLine], house: Building, reachable: Reachable) -> Iterator[Fault]:
    """Yield a fault for each kind of alert that interrupts and would reach nobody in this building now."""
    for condition in INTERRUPTING:
        steps = steps_for(lines, condition, "hold")
        if not any(reachable.people_of_step(step, house.id) for step in steps):
            alert_words = {"danger": "Danger to people", "building_without_heat": "A cold building"}.get(
                condition, "A hold"
            )
            named_roles = ", ".join(sorted({line.hears for step in steps for line in step.lines})) or "nobody"
            reached = f"{alert_words} at {house.address} would reach nobody"
            sentence = f"{reached}: the list names {named_roles}, none with an address."
            yield Fault("reaches_nobody", sentence, (condition,))
