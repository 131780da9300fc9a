"""A building's local day as the database reckons it, where rows are counted by day or week."""

from datetime import date, timedelta
from typing import Any

from django.db.models import DateField, DateTimeField, F, Func, Q
from django.db.models.functions import Cast, TruncWeek


def local_day(instant: str) -> Cast:
    """The local day of a column of instants, in the zone of the row's own building."""
    return Cast(_local(instant), DateField())


def local_week(instant: str) -> Cast:
    """The Monday of its local week (ISO 8601)."""
    return Cast(TruncWeek(_local(instant)), DateField())


def _local(instant: str) -> Func:
    # timezone(zone, instant) is the wall clock; the server holds the same IANA zones as the rules.
    zone, wall = F("boiler__building__zone"), DateTimeField()
    return Func(zone, F(instant), function="timezone", output_field=wall)


def near(instant: str, first: date, last: date) -> Q:
    """Whether an instant lies about these days in any zone: what an index can answer before zones are asked."""
    bounds: dict[str, Any] = {
        f"{instant}__date__gte": first - timedelta(days=2),
        f"{instant}__date__lte": last + timedelta(days=2),
    }
    return Q(**bounds)
