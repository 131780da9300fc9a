"""What trips to a building could do now, read from stored conclusions; nothing is judged again."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import Q, QuerySet

from fleet.board.models import StateSegment
from fleet.board.queries import holds_at
from fleet.catalog import queries as catalog
from fleet.deficiencies.life import level_at
from fleet.deficiencies.models import Deficiency
from fleet.jobs import states, work
from fleet.jobs.models import Item
from fleet.portfolio.models import Fitting
from fleet.rules.catalogue import Catalogue, ProcedureSpec
from fleet.visits.models import Entry

SOON_WITHIN = timedelta(days=30)  # what comes due within a month is done on the same trip (common practice)
OWED_STATES = ("due", "lapsed", "never_proven")
LEVEL_BY_STATE = {"lapsed": "urgent"}  # class of an owed procedure by the state of its position; all others are routine


def suggest_trips(building: UUID, at: datetime) -> list[work.Trip]:
    """Return the trips that a building needs, grouped by skill, without what an open job asks already.

    Six queries: release, deficiencies, states, fittings, replacements, items of open jobs.
    """
    release = catalog.catalogue_at(at)
    work_items = [*deficiency_work(building, release, at), *owed_work(building, release, at)]
    already_asked = set(asked_already(building))
    return work.group_trips(
        [w for w in work_items if (w.deficiency, w.position, w.procedure) not in already_asked], release
    )


def asked_already(building: UUID) -> Iterator[tuple[UUID | None, UUID | None, str]]:
    """Yield what the jobs of a building that are not over ask for: deficiency, position, procedure."""
    items = Item.objects.filter(job__building=building).exclude(job__status__in=states.OVER)
    yield from items.values_list("deficiency", "position", "procedure")


def deficiency_work(building: UUID, release: Catalogue, at: datetime) -> list[work.WorkItem]:
    """Return the work of a building's open deficiencies, each with the quickest procedure that closes it."""
    open_ = Deficiency.objects.filter(boiler__building=building, closed_at=None, withdrawn=False, opened_at__lte=at)
    deficiencies = open_.select_related("position").order_by("opened_at", "id")
    return [work_of_deficiency(row, release, at) for row in deficiencies]


def work_of_deficiency(row: Deficiency, release: Catalogue, at: datetime) -> work.WorkItem:
    """Return a deficiency as work to be done."""
    closing = release.closing_procedures(row.clears_by, row.position.role_id if row.position else None)
    code = work.quickest_code([procedure.code for procedure in closing], release)
    level = level_at(row, at) or "routine"
    return work.WorkItem(
        row.boiler_id,
        row.position_id,
        deficiency=row.id,
        procedure=code,
        sentence=row.sentence,
        level=level,
        due=row.opened_at,
    )


def owed_work(building: UUID, release: Catalogue, at: datetime) -> list[work.WorkItem]:
    """Return the procedures that are due, lapsed or never passed, and those that come due within SOON_WITHIN."""
    now = holds_at(at) & Q(state__in=OWED_STATES)
    soon = Q(state="due", since__gt=at, since__lte=at + SOON_WITHIN)
    rows = StateSegment.objects.filter(now | soon, boiler__building=building).select_related("position")
    segments = list(rows.order_by("since", "position__name", "id"))
    kinds = kinds_of([s.position_id for s in segments])
    owed_items = [w for w in (_work_of_segment(s, release, kinds) for s in segments) if w is not None]
    # A place of a header group has a state on each of its boilers, but is tested once.
    return list({(w.position, w.procedure): w for w in reversed(owed_items)}.values())[::-1]


def states_of(boiler: UUID, soon_from: datetime, at: datetime) -> QuerySet[StateSegment]:
    """Return the states of a boiler's places that are not proven, and those that come due soon after `soon_from`."""
    now = holds_at(at) & ~Q(state="proven")
    soon = Q(state="due", since__gt=at, since__lte=soon_from + SOON_WITHIN)
    rows = StateSegment.objects.filter(now | soon, boiler=boiler).select_related("position")
    return rows.order_by("since", "position__name", "id")


def _work_of_segment(segment: StateSegment, release: Catalogue, kinds: Mapping[UUID, str]) -> work.WorkItem | None:
    code = procedure_of(segment, release, kinds.get(segment.position_id, ""))
    if not code:
        return None
    level = LEVEL_BY_STATE.get(segment.state, "routine")
    sentence = str(segment.reason["sentence"])
    return work.WorkItem(
        segment.boiler_id,
        segment.position_id,
        deficiency=None,
        procedure=code,
        sentence=sentence,
        level=level,
        due=segment.since,
    )


def procedure_of(segment: StateSegment, release: Catalogue, kind: str) -> str:
    """Return the procedure a state asks for: the one its sentence names, else the quickest full proof of the kind."""
    fitting_procedures = [p for p in release.procedures.values() if kind in p.kinds]
    named_codes = [p.code for p in fitting_procedures if _is_named_in(p, str(segment.reason["sentence"]))]
    return work.quickest_code(named_codes or [p.code for p in fitting_procedures if p.proof == "full"], release)


def _is_named_in(procedure: ProcedureSpec, sentence: str) -> bool:
    """Whether a rule's sentence names it: "Slow drain of the …" or "… needs slow drain or evaporation since."."""
    needs = sentence.partition(" needs ")[2]
    return sentence.startswith(f"{procedure.name} of the ") or procedure.name.lower() in needs


def kinds_of(positions: Sequence[UUID]) -> dict[UUID, str]:
    """Return the kind that fills each position, by the newest fitting of the register or of a valid visit."""
    register_rows = Fitting.objects.filter(position__in=positions).values_list("position", "since", "device__kind")
    swapped = Entry.objects.filter(position__in=positions, device__isnull=False, visit__corrected_by=None)
    replacements = swapped.values_list("position", "performed_at", "device__kind")
    newest: dict[UUID, tuple[datetime, str]] = {}
    for position, at, kind in sorted([*register_rows, *replacements], key=_instant_of):
        newest[position] = (at, kind or "")
    return {position: kind for position, (_, kind) in newest.items()}


def _instant_of(row: tuple[UUID, datetime, str | None]) -> datetime:
    return row[1]


def items_sentence(items: Iterable[work.WorkItem | Item], address: str) -> str:
    """Return a job in one sentence: its first item, how many more, and where."""
    listed = list(items)
    first = listed[0].sentence.rstrip(".")
    more = f", and {len(listed) - 1} more" if len(listed) > 1 else ""
    return f"{first}{more} ({address})."
