"""What is read before somebody says yes, and its version: a yes to what was changed in between is none.

The version is a digest of all that the person is shown, so that nothing else makes a yes stale.
"""

import hashlib
import json
from datetime import datetime
from zoneinfo import ZoneInfo

from fleet.accounts.models import Grant, Qualification
from fleet.errors import Refused
from fleet.jobs.models import Job

VERSION_LENGTH = 16


def job_version(job: Job, *, as_second: bool) -> str:
    """Return the version of a job as it is asked: where, when, with whom and what for."""
    items = sorted(job.items.all(), key=lambda item: item.number)
    return _digest(
        job.planned_since,
        job.planned_until,
        *(job.technician_id, job.second_id, as_second),
        *(job.building.address, job.building.access_hours, job.skills),
        [item.sentence for item in items],
    )


def role_version(grant: Grant) -> str:
    """Return the version of a role as it is asked. Asked for again it is another one."""
    return _digest(grant.role, grant.building_id, grant.asked_until, grant.asked_since)


def qualification_version(row: Qualification) -> str:
    """Return the version of a qualification as it is asked. Asked for again it is another one."""
    return _digest(row.code, row.since, row.until, row.waits_since)


def refuse_changed(read: str, now: str, sentence: str) -> None:
    """Raise Refused (409) with what it is now, unless it is what was read."""
    if read != now:
        raise Refused("changed", f"This was changed after you read it. It is now: {sentence}", ("version",), status=409)


def job_sentence(job: Job, *, as_second: bool) -> str:
    """Return a job as it is asked, in one sentence, by the clock of its building."""
    assert job.planned_since
    assert job.planned_until
    zone = ZoneInfo(job.building.zone)
    begin, end = job.planned_since.astimezone(zone), job.planned_until.astimezone(zone)
    role = " as the second person" if as_second else ""
    return f"{job.building.address}, {begin:%a %d %b %Y, %H:%M} to {end:%H:%M}{role}."


def role_sentence(grant: Grant) -> str:
    """Return a role as it is asked, in one sentence."""
    place = grant.building.address if grant.building else "the whole portfolio"
    return f"{grant.role} of {grant.portfolio.name}, {place}, {_until_in_words(grant.asked_until)}."


def qualification_sentence(row: Qualification) -> str:
    """Return a qualification as it is asked, in one sentence."""
    code = row.code.replace("_", " ")
    return f"{code} from {row.since:%a %d %b %Y}, {_until_in_words(row.until)}."


def _until_in_words(until: datetime | None) -> str:
    return f"until {until:%a %d %b %Y %H:%M} UTC" if until else "with no end"


def _digest(*values: object) -> str:
    text = json.dumps(values, default=str)
    return hashlib.sha256(text.encode()).hexdigest()[:VERSION_LENGTH]
