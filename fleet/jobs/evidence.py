"""What evidence says of jobs: which items are settled, and which visits dealt with them."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Q

from fleet.accounts.models import Qualification
from fleet.assessments.models import Verdict
from fleet.deficiencies.life import levels_after
from fleet.deficiencies.models import Deficiency
from fleet.jobs.course import Facts, Visited
from fleet.jobs.models import Item, Job
from fleet.rules.catalogue import Catalogue
from fleet.rules.values import Level, LevelSegment
from fleet.visits.models import Attendance, Entry

PASSED = ("pass", "noted")
FARTHEST = 50  # chains of merged deficiencies are short; this bounds a ring, which would be a fault elsewhere


@dataclass(frozen=True, slots=True)
class Settlement:
    """When and how one item was settled (closed, passed or withdrawn), and by which visit."""

    at: datetime
    how: str
    visit: UUID | None


@dataclass(frozen=True, slots=True)
class Known:
    """Everything read for some jobs, in at most six queries: merged deficiencies, passes, attendance, qualifications,
    entries of visits."""

    release: Catalogue
    deficiencies: Mapping[UUID, Deficiency]
    passes: Sequence[tuple[UUID, str, datetime, UUID]]  # position, procedure, when, visit; by those who may
    entries: Sequence[Entry]


def read(items: Sequence[Item], release: Catalogue) -> Known:
    """Read the evidence that the items need."""
    places = {i.position_id for i in items if i.position_id and not i.deficiency_id}
    boilers = {i.boiler_id for i in items}
    entries = Entry.objects.filter(visit__boiler__in=boilers, visit__corrected_by=None, visit__void=False)
    since = min(i.job.created_at for i in items)
    return Known(
        release,
        _deficiencies({i.deficiency_id for i in items if i.deficiency_id}),
        _passes(places, release) if places else (),
        list(entries.filter(performed_at__gte=since).select_related("visit").order_by("performed_at")),
    )


def _deficiencies(wanted: set[UUID]) -> dict[UUID, Deficiency]:
    """Return the wanted deficiencies and those they were merged into, one query for each step of a chain."""
    found: dict[UUID, Deficiency] = {}
    for _ in range(FARTHEST):
        if not wanted:
            break
        rows = list(Deficiency.objects.filter(id__in=wanted).select_related("closed_by"))
        found |= {row.id: row for row in rows}
        wanted = {r.merged_into_id for r in rows if r.merged_into_id} - found.keys()
    return found


def _passes(places: Iterable[UUID], release: Catalogue) -> list[tuple[UUID, str, datetime, UUID]]:
    """Return the passes at these places by a person qualified for the procedure, the oldest first."""
    found = Verdict.objects.filter(outcome__in=PASSED, entry__act="test", entry__position__in=places)
    columns = ("entry__position", "entry__procedure", "entry__performed_at", "entry__visit")
    listed = list(found.order_by("entry__performed_at").values_list(*columns))
    held = _held({visit for *_, visit in listed}) if listed else {}
    return [row for row in listed if _may(row, release, held.get(row[3], ()))]


def _held(visits: Iterable[UUID]) -> dict[UUID, list[tuple[str, datetime, datetime | None]]]:
    """Return by visit the qualifications of those present that count in its portfolio."""
    present = Attendance.objects.filter(visit__in=visits, user__isnull=False)
    there = list(present.values_list("visit", "user", "portfolio"))
    own: dict[UUID, list[Qualification]] = defaultdict(list)
    for row in Qualification.objects.filter(user__in={user for _, user, _ in there}):
        own[row.user_id].append(row)
    found: dict[UUID, list[Any]] = defaultdict(list)
    for visit, user, portfolio in there:
        counts = (q for q in own[user] if q.portfolio_id in (None, portfolio))
        found[visit] += [(q.code, q.since, q.until) for q in counts]
    return found


def _may(row: tuple[UUID, str, datetime, UUID], release: Catalogue, held: Iterable[tuple[Any, ...]]) -> bool:
    procedure = release.procedures.get(row[1])
    at = row[2]
    codes = {code for code, since, until in held if since <= at and (until is None or at < until)}
    return procedure is not None and bool(procedure.who & codes)


def newest_passes(pairs: Iterable[tuple[UUID, str]], release: Catalogue) -> dict[tuple[UUID, str], datetime]:
    """Return when each procedure was last passed at its place: only a later pass settles a new item."""
    wanted = list(pairs)
    found: dict[tuple[UUID, str], datetime] = {}
    for place, code, at, _ in _passes({p for p, _ in wanted}, release) if wanted else ():
        for pair in wanted:
            if pair[0] == place and release.procedures[code].covers_or_is(pair[1]):
                found[pair] = at
    return found


def settlement(item: Item, known: Known) -> Settlement | None:
    """Return when and how one item was settled; None while it is open."""
    if item.deficiency_id:
        return _closed(known.deficiencies.get(item.deficiency_id), known)
    for place, code, at, visit in known.passes:
        later = item.since is None or at > item.since
        if place == item.position_id and later and known.release.procedures[code].covers_or_is(item.procedure):
            return Settlement(at, "passed", visit)
    return None


def classes(items: Sequence[Item], known: Known, made: datetime) -> list[LevelSegment]:
    """Return the classes of a job's items since it was made: as asked, and as their open deficiencies stand."""
    asked = (_last(known.deficiencies.get(i.deficiency_id), known) for i in items if i.deficiency_id)
    rows = [row for row in asked if row and not row.closed_at and not row.withdrawn]
    stands = [replace(s, since=max(s.since, made)) for row in rows for s in levels_after(row, made)]
    return [*(LevelSegment(made, None, Level(i.level)) for i in items), *stands]


def _last(row: Deficiency | None, known: Known) -> Deficiency | None:
    """Return the deficiency it was merged into, else itself."""
    for _ in range(FARTHEST):
        if row is None or not row.merged_into_id:
            break
        row = known.deficiencies.get(row.merged_into_id)
    return row


def _closed(row: Deficiency | None, known: Known) -> Settlement | None:
    row = _last(row, known)
    if row is None:
        return None
    if row.withdrawn:
        return Settlement(row.opened_at, "withdrawn", None)
    if row.closed_at:
        return Settlement(row.closed_at, "closed", row.closed_by.visit_id if row.closed_by else None)
    return None


def facts(job: Job, items: Sequence[Item], settled: Mapping[int, Settlement], known: Known) -> Facts:
    """Return what the replay of a job needs."""
    kept = [i for i in items if i.number not in settled or settled[i.number].how != "withdrawn"]
    waiting: dict[UUID, datetime | None] = {}
    for item in kept:
        at = settled[item.number].at if item.number in settled else None
        before = waiting.get(item.boiler_id, job.created_at)
        waiting[item.boiler_id] = max(before, at) if before and at else None
    return Facts(job.id, job.created_at, job.building.zone, _whole(job, kept, settled), waiting, _dealt(kept, known))


def _whole(
    job: Job, kept: Sequence[Item], settled: Mapping[int, Settlement]
) -> tuple[str, datetime, UUID | None] | None:
    """Return when all items that still count were settled; None while one is open."""
    if not kept:
        return "all_withdrawn", job.created_at, None
    if any(i.number not in settled for i in kept):
        return None
    last = max((settled[i.number] for i in kept), key=lambda s: s.at)
    return "all_settled", max(last.at, job.created_at), last.visit


def _dealt(items: Sequence[Item], known: Known) -> dict[UUID, list[Visited]]:
    """Return by boiler the visits that dealt with an item there, whatever the outcome, each at its last entry."""
    ends: dict[UUID, datetime] = {}
    about: dict[UUID, set[UUID]] = defaultdict(set)
    for entry in known.entries:
        ends[entry.visit_id] = max(ends.get(entry.visit_id, entry.performed_at), entry.performed_at)
        for item in items:
            if entry.visit.boiler_id == item.boiler_id and _deals(entry, item, known):
                about[item.boiler_id].add(entry.visit_id)
    return {boiler: [(ends[v], v) for v in visits] for boiler, visits in about.items()}


def _deals(entry: Entry, item: Item, known: Known) -> bool:
    """Whether an entry is about an item: at its place, or by a procedure that closes its deficiency."""
    if item.position_id:
        return entry.position_id == item.position_id
    row = known.deficiencies.get(item.deficiency_id) if item.deficiency_id else None
    return row is not None and (not row.clears_by or entry.procedure_id in row.clears_by)


def items_of(jobs: Iterable[Job]) -> dict[UUID, list[Item]]:
    """Return the items of each job in their order: one query."""
    found: dict[UUID, list[Item]] = defaultdict(list)
    for item in Item.objects.filter(Q(job__in=list(jobs))).select_related("job").order_by("job", "number"):
        found[item.job_id].append(item)
    return found
