"""Set up a portfolio of the town before its story: people, register, header groups, papers, terms."""

from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from uuid import NAMESPACE_DNS, UUID, uuid5
from zoneinfo import ZoneInfo

from django.contrib.auth.hashers import make_password

from fleet import pipeline
from fleet.accounts.installation import TOWN_PASSWORD
from fleet.accounts.models import Grant, Qualification, User
from fleet.catalog import queries as catalog
from fleet.management.demo.cast import LONG_AGO
from fleet.management.town import setups
from fleet.management.town.invented_names import ZONE
from fleet.management.town.season import day_of, local_time
from fleet.management.town.story_values import Story, TownMember, TownServiceState
from fleet.management.town.story_values import TownBoiler as Pure
from fleet.portfolio.models import Boiler, Building, Device, Fitting, HeaderGroup, Portfolio, Position, ServiceState
from fleet.records.events import Cause
from fleet.sheets.register_sheet import parse_sheet
from fleet.terms.incoming import IncomingTerms

CAUSE = Cause(who="demo")
PASSWORD = TOWN_PASSWORD


def create_portfolio(story: Story) -> Portfolio:
    """Create the portfolio. Its id follows from its ref."""
    portfolio_id = uuid5(NAMESPACE_DNS, f"{story.ref.lower()}.invalid")
    return Portfolio.objects.create(id=portfolio_id, ref=story.ref, name=story.name)


def create_people(portfolio: Portfolio, members: Iterable[TownMember]) -> dict[str, User]:
    """Create the people and return them by user name. The password is hashed once, since a hash takes 0.2 s."""
    password = make_password(PASSWORD)
    users: dict[str, User] = {}
    for number, member in enumerate(members):
        first, last = member.name.split(maxsplit=1)
        users[member.username] = User(
            id=uuid5(portfolio.id, member.username),
            username=member.username,
            first_name=first,
            last_name=last,
            password=password,
            telephone=f"555-0{100 + number % 100}",  # of the range kept for invented people
        )
    User.objects.bulk_create(users.values())
    Grant.objects.bulk_create(Grant(user=users[m.username], role=m.role, portfolio=portfolio) for m in members)
    Qualification.objects.bulk_create(
        Qualification(user=users[m.username], code=code, since=LONG_AGO) for m in members for code in m.qualifications
    )
    return users


def hand_in_register(portfolio: Portfolio, story: Story, at: datetime) -> dict[str, Boiler]:
    """Import the register sheet, then create shared positions, which no sheet can hold. Return boilers by key."""
    _hand_in(portfolio, setups.write_sheet(story.houses, date.min, day_of(at)), at)
    for day in sorted({b.since for b in story.boilers.values() if b.since >= day_of(at)}):
        _hand_in(portfolio, setups.write_sheet(story.houses, day, day + timedelta(days=1)), local_time(day, 5))
    for house in story.houses:
        shared = {p.ref: p for b in house.boilers for p in b.places.values() if p.shared}
        if shared:
            _create_shared_positions(portfolio, house.ref, shared, at)
    boilers = Boiler.objects.filter(portfolio=portfolio).select_related("building")
    return {f"{b.building.ref} {b.ref}": b for b in boilers}


def _hand_in(portfolio: Portfolio, sheet: str, at: datetime) -> None:
    rows = parse_sheet(sheet, catalog.catalogue_of(catalog.newest_release_number() or 1))
    pipeline.change_register(portfolio=portfolio, rows=rows, at=at, cause=CAUSE)


def _create_shared_positions(portfolio: Portfolio, house: str, shared: Mapping[str, Any], at: datetime) -> None:
    building = Building.objects.get(portfolio=portfolio, ref=house)
    common = {"portfolio": portfolio}
    group = HeaderGroup.objects.create(building=building, ref="header", **common)
    Boiler.objects.filter(building=building).update(header_group=group)
    for place in shared.values():
        values = {"header_group": group, "ref": place.ref, "name": place.name, "role_id": place.role}
        position = Position.objects.create(id=uuid5(group.id, place.ref), **values, **common)
        device = Device.objects.create(id=uuid5(position.id, "device"), kind_id=place.kind, **common)
        since = datetime.combine(place.fitted_on, time(), ZoneInfo(ZONE)).astimezone(UTC)
        Fitting.objects.create(position=position, device=device, since=since, posted_at=at, **common)


def position_ids_of(boiler: Boiler, pure: Pure) -> dict[str, UUID]:
    """Return position ids by ref, those of the header group included."""
    positions = Position.objects.filter(boiler=boiler)
    if boiler.header_group_id:
        positions |= Position.objects.filter(header_group=boiler.header_group_id, ref__in=pure.places)
    return dict(positions.values_list("ref", "id"))


def add_papers(portfolio: Portfolio, story: Story, at: datetime) -> None:
    """Add the certificates. This is cheap while the boilers have no past."""
    buildings = dict(Building.objects.filter(portfolio=portfolio).values_list("ref", "id"))
    for paper in story.papers:
        since = datetime.combine(paper.since, time(12), UTC)
        pipeline.add_paper(
            building=buildings[paper.house],
            kind=paper.kind,
            name=paper.name,
            since=since,
            until=paper.until,
            at=at,
            cause=CAUSE,
        )


def adopt_terms(portfolio: Portfolio, story: Story, owner: User, at: datetime) -> None:
    """Adopt the portfolio's own terms, if it has any."""
    if story.terms:
        values: Any = dict(story.terms)
        pipeline.adopt_terms(portfolio=portfolio.id, terms=IncomingTerms(**values), version=0, by=owner, at=at)


def store_service_states(boilers: Mapping[str, Boiler], facts: Iterable[TownServiceState]) -> None:
    """Store past service states as evidence rows. Their boilers are judged later, with their visits."""
    ServiceState.objects.bulk_create(
        ServiceState(
            portfolio_id=boilers[f.boiler].portfolio_id,
            boiler=boilers[f.boiler],
            state=f.state,
            since=f.since,
            posted_at=f.since + timedelta(minutes=30),
        )
        for f in facts
    )
