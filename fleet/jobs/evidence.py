"""What evidence says of jobs: which items are settled, and which visits dealt with them."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from uuid import UUID

from django.db.models import Q

from fleet.assessments.models import Verdict
from fleet.deficiencies.life import levels_after
from fleet.deficiencies.models import Deficiency
from fleet.jobs.course import JobFacts, VisitEnd
from fleet.jobs.models import Item, Job
from fleet.rules.catalogue import Catalogue
from fleet.rules.facts import JUDGES_BOILERS
from fleet.rules.values import Level, LevelSegment
from fleet.visits.models import Attendance, Entry, Visit
from fleet.visits.named_people import NamedPerson, people_by_visit

PASSING_OUTCOMES = ("pass", "noted")
NO_ANSWER_KIND = "routine_check"  # a caretaker's round goes on whoever called
MAX_MERGES_FOLLOWED = (
    50  # chains of merged deficiencies are short; this bounds a ring, which would be a fault elsewhere
)


@dataclass(frozen=True, slots=True)
class Settlement:
    """When and how one item was settled (closed, passed, visited or withdrawn), and by which visit."""

    at: datetime
    how: str
    visit: UUID | None


@dataclass(frozen=True, slots=True)
class JobEvidence:
    """Everything read for some jobs, in at most six queries: merged deficiencies, passes, attendance, qualifications,
    entries of visits; and in three more where calls are asked: visits, attendance, qualifications.

    `answers` are the visits by qualified people that answer calls, by building, the oldest first.
    """

    release: Catalogue
    deficiencies: Mapping[UUID, Deficiency]
    passes: Sequence[tuple[UUID, str, datetime, UUID]]  # position, procedure, when, visit; by those who may
    entries: Sequence[Entry]
    answers: Mapping[UUID, Sequence[VisitEnd]] = field(default_factory=dict)


def read_job_evidence(items: Sequence[Item], release: Catalogue) -> JobEvidence:
    """Read the evidence that the items need."""
    places = {i.position_id for i in items if i.position_id and not i.deficiency_id}
    boilers = {i.boiler_id for i in items}
    # Nobody came to the boiler with a paper of others: it settles items, and is no visit of the job.
    entries = Entry.objects.filter(visit__boiler__in=boilers, visit__corrected_by=None, visit__void=False)
    entries = entries.filter(visit__paper=None)
    since = min(i.job.created_at for i in items)
    return JobEvidence(
        release,
        deficiencies=_merged_deficiencies({i.deficiency_id for i in items if i.deficiency_id}),
        passes=_qualified_passes(places, release) if places else (),
        entries=list(entries.filter(performed_at__gte=since).select_related("visit").order_by("performed_at")),
        answers=_answering_visits([i for i in items if i.call_id]),
    )


def _answering_visits(items: Sequence[Item]) -> dict[UUID, list[VisitEnd]]:
    """Return by building the visits that answer calls: any but a routine check, by people who judge boilers."""
    answers: dict[UUID, list[VisitEnd]] = defaultdict(list)
    if not items:
        return answers
    visits = Visit.objects.filter(
        boiler__building__in={i.job.building_id for i in items},
        performed_at__gte=min(i.job.created_at for i in items),
        corrected_by=None,
        void=False,
        paper=None,
    ).exclude(kind=NO_ANSWER_KIND)
    rows = list(visits.select_related("boiler").order_by("performed_at", "id"))
    people = people_by_visit(Attendance.objects.filter(visit__in=[row.id for row in rows]))
    for row in rows:
        if any(person.counting_codes_at(row.performed_at) & JUDGES_BOILERS for person in people.get(row.id, ())):
            answers[row.boiler.building_id].append((row.performed_at, row.id))
    return answers


def _merged_deficiencies(ids: set[UUID]) -> dict[UUID, Deficiency]:
    """Return the wanted deficiencies and those they were merged into, one query for each step of a chain."""
    by_id: dict[UUID, Deficiency] = {}
    for _ in range(MAX_MERGES_FOLLOWED):
        if not ids:
            break
        rows = list(Deficiency.objects.filter(id__in=ids).select_related("closed_by"))
        by_id |= {row.id: row for row in rows}
        ids = {r.merged_into_id for r in rows if r.merged_into_id} - by_id.keys()
    return by_id


def _qualified_passes(places: Iterable[UUID], release: Catalogue) -> list[tuple[UUID, str, datetime, UUID]]:
    """Return the passes at these places by a person, or on a paper of a body, qualified for it, the oldest first."""
    verdicts = Verdict.objects.filter(outcome__in=PASSING_OUTCOMES, entry__act="test", entry__position__in=places)
    columns = ("entry__position", "entry__procedure", "entry__performed_at", "entry__visit")
    ordered = verdicts.order_by("entry__performed_at")
    listed = list(ordered.values_list(*columns, "entry__visit__paper__body"))
    in_person = {visit for *_, visit, body in listed if not body}
    people = people_by_visit(Attendance.objects.filter(visit__in=in_person)) if in_person else {}
    return [row[:4] for row in listed if _is_qualified(row, release, people.get(row[3], ()))]


def _is_qualified(
    row: tuple[UUID, str, datetime, UUID, str | None], release: Catalogue, people: Iterable[NamedPerson]
) -> bool:
    _, code, at, _, body = row
    procedure = release.procedures.get(code)
    held = {qualification for person in people for qualification in person.counting_codes_at(at)}
    return procedure is not None and bool(procedure.who & ({body} if body else held))


def newest_passes(pairs: Iterable[tuple[UUID, str]], release: Catalogue) -> dict[tuple[UUID, str], datetime]:
    """Return when each procedure was last passed at its place: only a later pass settles a new item."""
    wanted_pairs = list(pairs)
    newest: dict[tuple[UUID, str], datetime] = {}
    for place, code, at, _ in _qualified_passes({p for p, _ in wanted_pairs}, release) if wanted_pairs else ():
        for pair in wanted_pairs:
            if pair[0] == place and release.procedures[code].covers_or_is(pair[1]):
                newest[pair] = at
    return newest


def settlement_of(item: Item, job_evidence: JobEvidence) -> Settlement | None:
    """Return when and how one item was settled; None while it is open."""
    if item.call_id:
        visits = job_evidence.answers.get(item.job.building_id, ())
        return next((Settlement(at, "visited", visit) for at, visit in visits if item.since and at >= item.since), None)
    if item.deficiency_id:
        return _deficiency_settlement(job_evidence.deficiencies.get(item.deficiency_id), job_evidence)
    for place, code, at, visit in job_evidence.passes:
        later = item.since is None or at > item.since
        if place == item.position_id and later and job_evidence.release.procedures[code].covers_or_is(item.procedure):
            return Settlement(at, "passed", visit)
    return None


def level_segments(items: Sequence[Item], job_evidence: JobEvidence, made_at: datetime) -> list[LevelSegment]:
    """Return the classes of a job's items since it was made: as asked, and as their open deficiencies stand."""
    deficiencies = (
        _final_deficiency(job_evidence.deficiencies.get(i.deficiency_id), job_evidence)
        for i in items
        if i.deficiency_id
    )
    rows = [row for row in deficiencies if row and not row.closed_at and not row.withdrawn]
    stands = [replace(s, since=max(s.since, made_at)) for row in rows for s in levels_after(row, made_at)]
    return [*(LevelSegment(made_at, None, Level(i.level)) for i in items), *stands]


def _final_deficiency(row: Deficiency | None, job_evidence: JobEvidence) -> Deficiency | None:
    """Return the deficiency it was merged into, else itself."""
    for _ in range(MAX_MERGES_FOLLOWED):
        if row is None or not row.merged_into_id:
            break
        row = job_evidence.deficiencies.get(row.merged_into_id)
    return row


def _deficiency_settlement(row: Deficiency | None, job_evidence: JobEvidence) -> Settlement | None:
    row = _final_deficiency(row, job_evidence)
    if row is None:
        return None
    if row.withdrawn:
        return Settlement(row.opened_at, "withdrawn", None)
    if row.closed_at:
        return Settlement(row.closed_at, "closed", row.closed_by.visit_id if row.closed_by else None)
    return None


def gather_job_facts(
    job: Job, items: Sequence[Item], settled: Mapping[int, Settlement], job_evidence: JobEvidence
) -> JobFacts:
    """Return what the replay of a job needs."""
    counted_items = [i for i in items if i.number not in settled or settled[i.number].how != "withdrawn"]
    waiting: dict[UUID, datetime | None] = {}
    for item in counted_items:
        at = settled[item.number].at if item.number in settled else None
        before = waiting.get(item.boiler_id, job.created_at)
        waiting[item.boiler_id] = max(before, at) if before and at else None
    return JobFacts(
        job.id,
        job.created_at,
        zone=job.building.zone,
        settled=_overall_settlement(job, counted_items, settled),
        waiting=waiting,
        visits=_visits_dealing_with(counted_items, job_evidence),
    )


def _overall_settlement(
    job: Job, counted_items: Sequence[Item], settled: Mapping[int, Settlement]
) -> tuple[str, datetime, UUID | None] | None:
    """Return when all items that still count were settled; None while one is open."""
    if not counted_items:
        return "all_withdrawn", job.created_at, None
    if any(i.number not in settled for i in counted_items):
        return None
    last = max((settled[i.number] for i in counted_items), key=lambda s: s.at)
    # That somebody went there proves nothing, so a job of calls alone is answered, never proven.
    how = "all_answered" if all(i.call_id for i in counted_items) else "all_settled"
    return how, max(last.at, job.created_at), last.visit


def _visits_dealing_with(items: Sequence[Item], job_evidence: JobEvidence) -> dict[UUID, list[VisitEnd]]:
    """Return by boiler the visits that dealt with an item there, whatever the outcome, each at its last entry."""
    ends: dict[UUID, datetime] = {}
    about: dict[UUID, set[UUID]] = defaultdict(set)
    for entry in job_evidence.entries:
        ends[entry.visit_id] = max(ends.get(entry.visit_id, entry.performed_at), entry.performed_at)
        for item in items:
            if entry.visit.boiler_id == item.boiler_id and _is_about(entry, item, job_evidence):
                about[item.boiler_id].add(entry.visit_id)
    return {boiler: [(ends[v], v) for v in visits] for boiler, visits in about.items()}


def _is_about(entry: Entry, item: Item, job_evidence: JobEvidence) -> bool:
    """Whether an entry is about an item: at its place, or by a procedure that closes its deficiency."""
    if item.position_id:
        return entry.position_id == item.position_id
    row = job_evidence.deficiencies.get(item.deficiency_id) if item.deficiency_id else None
    return row is not None and (not row.clears_by or entry.procedure_id in row.clears_by)


def items_of(jobs: Iterable[Job]) -> dict[UUID, list[Item]]:
    """Return the items of each job in their order: one query."""
    by_job: dict[UUID, list[Item]] = defaultdict(list)
    for item in Item.objects.filter(Q(job__in=list(jobs))).select_related("job").order_by("job", "number"):
        by_job[item.job_id].append(item)
    return by_job
