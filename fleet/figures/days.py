"""A building's local day computed by the database, where rows are counted by day or week."""

from datetime import date, timedelta

from django.db.models import DateField, DateTimeField, F, Func, Q
from django.db.models.functions import Cast, TruncWeek


def local_day(instant: str) -> Cast:
    """Return the local day of a column of instants, in the zone of the row's building."""
    return Cast(_local_time(instant), DateField())


def local_week(instant: str) -> Cast:
    """Return the Monday of a column's local week (ISO 8601)."""
    return Cast(TruncWeek(_local_time(instant)), DateField())


def _local_time(instant: str) -> Func:
    # timezone(zone, instant) is local time; the server has the same IANA zones as the rules.
    zone, wall = F("boiler__building__zone"), DateTimeField()
    return Func(zone, F(instant), function="timezone", output_field=wall)


def around_days(instant: str, first: date, last: date) -> Q:
    """Return a filter for instants within two days of these days: an index can answer it, before zones are computed."""
    bounds: dict[str, object] = {
        f"{instant}__date__gte": first - timedelta(days=2),
        f"{instant}__date__lte": last + timedelta(days=2),
    }
    return Q(**bounds)
