"""take_call: a tenant's call becomes a fact and joins the building's open job, or makes one."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from fleet.accounts.models import User
from fleet.errors import Refused
from fleet.jobs import services, work
from fleet.jobs.call_kinds import CALL_KINDS
from fleet.jobs.calls import CallRequest, call_faults, call_sentence, find_call_job
from fleet.jobs.models import Item, Job, JobAct, TenantCall
from fleet.pipeline.jobs import settle_and_record
from fleet.portfolio.locks import lock_boilers
from fleet.portfolio.models import Boiler, Building
from fleet.records.events import Cause, ChangeEvent


def take_call(
    *, building: UUID, request: CallRequest, by: User, at: datetime, cause: Cause | None = None
) -> TenantCall:
    """Record a call. One trip answers all calls of a building: a later one is a further item of the open job.

    Raises Refused with every fault (422), 404 for an unknown building, 422 for one without a boiler.
    """
    cause = cause or Cause(who=by.get_username())
    house = Building.objects.filter(id=building).first()
    if house is None:
        raise Refused("unknown", "Not found.", status=404)
    if faults := call_faults(request, at):
        raise Refused.from_faults(faults, status=422)
    with transaction.atomic():
        boilers = lock_boilers(Boiler.objects.filter(building=house).values_list("id", flat=True))
        own_boilers = sorted((b for b in boilers if b.building_id == house.id), key=lambda b: (b.ref, b.id))
        if not own_boilers:
            raise Refused("no_boiler", "No boiler is on record in this building.", ("building",), status=422)
        call = TenantCall(portfolio_id=house.portfolio_id, building=house, at=at, by=by, request_id=cause.request_id)
        for name in ("kind", "flat", "caller", "call_back", "since", "note"):
            setattr(call, name, getattr(request, name))
        item = _call_item(call, own_boilers[0])
        open_job = find_call_job(house.id)
        call.job = _join_job(open_job.id, item) if open_job else _make_job(call, item, cause)
        call.save(force_insert=True)
        settle_and_record([call.job], [_call_event(call, item, is_new=open_job is None)], cause, at)
    return call


def _call_item(call: TenantCall, boiler: Boiler) -> Item:
    """Return the item of a call, not saved. It stands at the building's first boiler: nobody knows which one it is."""
    request = CallRequest(call.kind, call.flat, since=call.since)
    sentence = call_sentence(request, call.building.zone)
    level = CALL_KINDS[call.kind].level
    return Item(number=0, boiler=boiler, call_id=call.id, sentence=sentence, level=level, since=call.at)


def _make_job(call: TenantCall, item: Item, cause: Cause) -> Job:
    work_item = work.WorkItem(
        item.boiler_id, None, deficiency=None, procedure="", sentence=item.sentence, level=item.level
    )
    trip = work.Trip(work.DEFAULT_SKILL, [work_item], minutes=CALL_KINDS[call.kind].minutes, people=1)
    job = services.add_job(building=call.building, trip=trip, items=[item], note="", at=call.at)
    values = {"portfolio_id": job.portfolio_id, "acted_on": 0, "at": call.at, "request_id": cause.request_id}
    JobAct.objects.create(job=job, kind="created", by=call.by, **values)
    return job


def _join_job(job: UUID, item: Item) -> Job:
    """Add the item of a further call. The job is at a new version: what somebody read of it is not all any more."""
    row = Job.objects.select_related("building").select_for_update(no_key=True, of=("self",)).get(id=job)
    item.job, item.portfolio_id = row, row.portfolio_id
    item.number = 1 + max(row.items.values_list("number", flat=True))
    item.save(force_insert=True)
    row.version += 1
    row.save(update_fields=["version"])
    return row


def _call_event(call: TenantCall, item: Item, *, is_new: bool) -> ChangeEvent:
    what = "A job is to be planned" if is_new else "A further call joins the job"
    return ChangeEvent(
        "job.created" if is_new else "job.called",
        call.job_id,
        boiler=item.boiler_id,
        before="",
        after=call.job.status,
        sentence=f"{what}: {item.sentence} ({call.building.address}).",
        rule="",
        at=call.at,
    )
