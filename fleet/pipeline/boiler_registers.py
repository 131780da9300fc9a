"""What exists at a boiler, as the checks of its visits ask for it."""

from collections.abc import Sequence
from datetime import datetime

from fleet.accounts.models import Grant
from fleet.catalog import queries as catalog
from fleet.portfolio.models import Boiler, Position
from fleet.records.row_spans import not_ended
from fleet.visits.check import BoilerRegister, known_devices
from fleet.visits.incoming import IncomingVisit


def read_boiler_register(boiler: Boiler, visits: Sequence[IncomingVisit], at: datetime) -> BoilerRegister:
    """Read what exists at the boiler and its header group, for all of these visits at once, by the release at `at`."""
    positions = Position.objects.filter(boiler=boiler)
    if boiler.header_group_id:
        positions |= Position.objects.filter(header_group=boiler.header_group_id)
    user_ids = {person.user for visit in visits for person in visit.people if person.user}
    earliest = min((visit.performed_at for visit in visits), default=at)
    members = Grant.objects.filter(not_ended(earliest), portfolio=boiler.portfolio_id, user__in=user_ids)
    naming_devices = [v for v in visits if any(e.device for e in v.entries)]  # a query each: few do
    devices = {k: d for visit in naming_devices for k, d in known_devices(visit, boiler.portfolio_id).items()}
    return BoilerRegister(
        since=boiler.since,
        zone=boiler.building.zone,
        roles=dict(positions.values_list("id", "role_id")),
        users=frozenset(members.values_list("user", flat=True)),
        catalogue=catalog.catalogue_at(at),
        devices=devices,
    )
