"""Alerts with what a message says of them: the place, the first act, and whether people are in danger."""

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from uuid import UUID

from fleet.alerts.models import Alert
from fleet.board.models import Segment
from fleet.board.queries import holds_at
from fleet.catalog import queries as catalog
from fleet.jobs.models import Job
from fleet.notices.call_list.lines import DANGER, HOLD, HOLD_BUT_FIRING
from fleet.notices.writing.call_text import CalledAlert
from fleet.portfolio.models import Building
from fleet.rules.timeline.boundaries import endangers_people


def describe_alerts(rows: Sequence[Alert], at: datetime) -> list[CalledAlert]:
    """Return alerts with their places, first acts, and whether they endanger people: four queries at most."""
    boilers = [row.boiler_id for row in rows if row.boiler_id]
    segments = {s.boiler_id: s for s in Segment.objects.filter(holds_at(at), boiler__in=boilers)} if boilers else {}
    houses = _houses_of([row.subject for row in rows if not row.boiler_id])
    findings = catalog.catalogue_at(at).findings if boilers else {}
    dangers = {code for code, rule in findings.items() if endangers_people(rule)}
    return [
        _describe_alert(row, segments.get(row.boiler_id) if row.boiler_id else None, houses, dangers) for row in rows
    ]


def _houses_of(subjects: Sequence[UUID]) -> dict[UUID, Building]:
    """Return the building of each subject that is one, or a job at one."""
    if not subjects:
        return {}
    jobs = Job.objects.filter(id__in=subjects).select_related("building")
    houses = {house.id: house for house in Building.objects.filter(id__in=subjects)}
    return {**houses, **{job.id: job.building for job in jobs}}


def _describe_alert(
    row: Alert, segment: Segment | None, houses: Mapping[UUID, Building], dangers: Collection[str]
) -> CalledAlert:
    house = row.boiler.building if row.boiler else houses.get(row.subject)
    rules = {str(reason.get("rule")) for reason in segment.reasons} if segment else set()
    is_danger = row.condition == HOLD and not rules.isdisjoint(dangers)
    address = house.address if house else row.portfolio.name
    return CalledAlert(
        row,
        DANGER if is_danger else row.condition,
        place=f"{address}, {row.boiler.name}" if row.boiler else address,
        zone=house.zone if house else "UTC",
        building=house.id if house else None,
        first_act=segment.then if segment and row.condition in (HOLD, HOLD_BUT_FIRING) else "",
    )
