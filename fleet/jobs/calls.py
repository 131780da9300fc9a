"""Calls of tenants: what is recorded, the sentence of one, and the open job of a building that answers them."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet

from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.errors import Fault
from fleet.jobs import states
from fleet.jobs.call_kinds import CALL_KINDS
from fleet.jobs.models import Item, Job, TenantCall
from fleet.rules.wording import local_day

MAX_LENGTHS = {"flat": 40, "caller": 100, "call_back": 40, "note": 1000}


@dataclass(frozen=True, slots=True)
class CallRequest:
    """What somebody said on the telephone. Only the kind is needed."""

    kind: str
    flat: str = ""
    caller: str = ""
    call_back: str = ""
    since: datetime | None = None
    note: str = ""


def call_faults(request: CallRequest, at: datetime) -> list[Fault]:
    """Return every fault of a call."""
    faults = []
    if request.kind not in CALL_KINDS:
        faults.append(Fault("required", "Choose what the call is about.", ("kind",)))
    if request.since is not None and request.since > at:
        faults.append(Fault("out_of_range", "This is after the call itself.", ("since",)))
    long_fields = [name for name, length in MAX_LENGTHS.items() if len(getattr(request, name)) > length]
    return [*faults, *(Fault("too_long", f"At most {MAX_LENGTHS[name]} characters.", (name,)) for name in long_fields)]


def call_sentence(request: CallRequest, zone: str) -> str:
    """Return a call in one sentence. Names and numbers stay out: sentences go into notices and calendars."""
    flat = f", flat {request.flat}" if request.flat else ""
    since = f", since {local_day(request.since, zone)}" if request.since else ""
    return f"{CALL_KINDS[request.kind].label}{flat}{since}: a tenant called."


def find_call_job(building: UUID) -> Job | None:
    """Return the building's open job that answers calls, the newest; None without one. It must be locked to be used."""
    items = Item.objects.filter(job__building=building, call__isnull=False).exclude(job__status__in=states.OVER)
    item = items.select_related("job").order_by("-job__created_at", "-job_id").first()
    return item.job if item else None


def visible_calls(user: User, at: datetime) -> QuerySet[TenantCall]:
    """Return the calls a user may see: those of buildings whose jobs the user may see, the newest first."""
    buildings = policy.boilers_for(user, "job.see", at).values("building")
    calls = TenantCall.objects.filter(building__in=buildings, at__lte=at)
    return calls.select_related("building", "by", "job").order_by("-at", "id")


def count_flats(calls: Iterable[TenantCall]) -> int:
    """Return how many flats called; calls without a flat count as one together."""
    return len({call.flat.strip().lower() for call in calls})
