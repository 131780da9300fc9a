"""What a correction is refused for beside its own content: dropped devices, and the rules for a second name."""

from collections.abc import Collection, Iterator
from datetime import datetime
from uuid import UUID

from django.db.models import Q, QuerySet

from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.accounts.people import qualification_codes_at
from fleet.errors import Fault, Refused
from fleet.portfolio.models import Boiler, Fitting
from fleet.rules.vocabulary import FITTING_ACTS, OCCUPANT_ACTS
from fleet.visits.incoming import IncomingVisit
from fleet.visits.models import Entry, Seconding, Visit

QUALIFICATION = "technician"


def may_correct(old: Visit, boiler: Boiler, by: User, at: datetime) -> bool:
    """Whether somebody may correct a visit to this boiler: its poster for a day, a manager at any time."""
    is_own = old.posted_by_id == by.id and at - old.posted_at <= policy.OWN_CORRECTION
    action = "visit.correct_own" if is_own else "visit.correct"
    return policy.is_allowed(by, action, portfolio=boiler.portfolio_id, building=boiler.building_id, at=at)


def dropped_device_faults(visit: IncomingVisit, old: Visit) -> Iterator[Fault]:
    """Yield a fault for each device that the correction drops although later visits have evidence about it."""
    kept_ids = {visit.device_id(n) for n, e in enumerate(visit.entries) if e.act in FITTING_ACTS}
    kept_places = {(e.position, e.kind) for e in visit.entries if e.act in FITTING_ACTS}
    for entry in old.entries.filter(act__in=FITTING_ACTS).select_related("device", "position").order_by("number"):
        kind = entry.device.kind_id if entry.device else ""
        if entry.device_id in kept_ids or (entry.position_id, kind) in kept_places:
            continue
        later = _later_entries(entry).first()
        if later is not None:
            message = (
                f"Line {entry.number + 1} fitted a device that visit {later.visit_id} has evidence about. "
                "Restate it, or correct that visit first."
            )
            yield Fault("device_has_later_evidence", message, ("void",) if visit.void else ("corrects",))


def _later_entries(entry: Entry) -> QuerySet[Entry]:
    """Return later entries of other valid visits about the device: at its place while it was there, or elsewhere."""
    valid = Entry.objects.filter(visit__corrected_by=None, visit__void=False).exclude(visit=entry.visit_id)
    after = valid.filter(performed_at__gte=entry.performed_at).order_by("performed_at", "visit_id", "number")
    at_position = Q(position=entry.position_id)
    moves = Q(act__in=OCCUPANT_ACTS)  # an entry that ends a stay is no evidence about the device
    there = at_position & ~moves
    ended = after.filter(at_position & moves).first()
    if ended is not None:
        there &= Q(performed_at__lte=ended.performed_at) & ~Q(visit=ended.visit_id, number__gt=ended.number)
    fittings = Fitting.objects.filter(position=entry.position_id, since__gt=entry.performed_at)
    refitted = fittings.order_by("since").first()
    if refitted is not None:
        there &= Q(performed_at__lt=refitted.since)
    return after.filter(there | Q(device=entry.device_id))


def refuse_second(visit: Visit, by: User, at: datetime, waiting: Collection[UUID]) -> None:
    """Raise Refused unless this person may second this visit now; the visit's boiler must be locked.

    `waiting` are the corrections of the boiler without effect yet. A paper that one of them corrects still counts and
    may be seconded; a correction that was corrected again may not, lest its chain be seconded with it.

    422 for a visit that is no correction and has no paper, 409 where it was corrected again or is seconded, 403 for
    its own poster or an unqualified person.
    """
    if visit.corrects_id is None and not hasattr(visit, "paper"):
        raise Refused("not_a_correction", "Only a correction or a paper can be seconded.", status=422)
    successor = Visit.objects.filter(corrects=visit).first()
    if successor is not None and (visit.corrects_id is not None or successor.id not in waiting):
        raise Refused("corrected_already", f"Visit {successor.id} already corrects it.", status=409)
    if Seconding.objects.filter(visit=visit).exists():
        raise Refused("seconded_already", "It has already been seconded.", status=409)
    if visit.posted_by_id == by.id:
        raise Refused("own_correction", "Somebody other than its poster must second it.", status=403)
    if QUALIFICATION not in qualification_codes_at(visit.portfolio_id, by.id, at):
        raise Refused("not_qualified", "Only a qualified technician can second it.", status=403)
