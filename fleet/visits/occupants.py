"""What visits did to the devices of places since the register's last fitting; shown beside it."""

from collections.abc import Mapping
from datetime import datetime
from uuid import UUID

from fleet.rules.vocabulary import OCCUPANT_ACTS
from fleet.visits.models import Entry


def occupant_acts_since(register: Mapping[UUID, datetime], at: datetime) -> dict[UUID, Entry]:
    """Return the newest such entry of each place since its instant in `register`, up to `at`; of valid visits only."""
    rows = Entry.objects.filter(position__in=list(register), act__in=OCCUPANT_ACTS, performed_at__lte=at)
    standing = rows.filter(visit__corrected_by=None, visit__void=False).select_related("visit", "device__kind")
    newest = {
        row.position_id: row for row in standing.order_by("performed_at", "visit_id", "number") if row.position_id
    }
    return {place: row for place, row in newest.items() if row.performed_at >= register[place]}
