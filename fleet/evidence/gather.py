"""From rows to `rules.values.Evidence`. The queries stand in the order they run, each once per boiler."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db.models import Q, QuerySet

from fleet.accounts import people as accounts
from fleet.calendar import day_start
from fleet.catalog import queries as catalog
from fleet.portfolio.models import Boiler, Fitting, Paper, Position, ServiceState, Setting
from fleet.rules import BUILD, values
from fleet.terms.models import Adoption
from fleet.terms.values import as_terms, version
from fleet.visits.models import Attendance, Entry, Reading, Seconding, Visit

Lines = dict[UUID, tuple[values.Entry, ...]]  # the entries of each visit


def build_of(portfolio: UUID, at: datetime) -> str:
    """Return the build of a portfolio's conclusions: rules version, newest release loaded, newest terms adopted.

    A judgement uses all releases and terms from their days on, so nothing is judged again on such a day.
    """
    return _build(catalog.newest(), list(Adoption.objects.filter(portfolio=portfolio)))


def _build(release: int | None, adopted: list[Adoption]) -> str:
    return f"{BUILD}c{release}.t{version(adopted)}"


class Read:
    """A cache of visit lines: posted lines never change and are not read again.

    A visit is identified by its content's digest. A visit that fits a device is always read, since the device's kind
    may still change in the register.
    """

    def __init__(self) -> None:
        self._positions: list[UUID] = []
        self._lines: dict[tuple[UUID, str], tuple[values.Entry, ...]] = {}
        self.count = 0  # lines returned by the last call

    def lines(self, boiler: Boiler, visits: dict[UUID, Visit], positions: list[UUID]) -> Lines:
        """Return the entries at these positions of the boiler, by visit."""
        if positions != self._positions:
            self._positions, self._lines = positions, {}
        held = {v.id: self._lines.get((v.id, v.digest)) for v in visits.values()}
        found = _entries(boiler, [v for v, lines in held.items() if lines is None], positions)
        lines = {v: found[v] if known is None else known for v, known in held.items()}
        plain = {v: told for v, told in lines.items() if all(e.device is None for e in told)}
        self._lines = {(v, visits[v].digest): told for v, told in plain.items()}
        self.count = sum(map(len, lines.values()))
        return lines


def gather(
    boiler_id: UUID, at: datetime, known_at: datetime | None = None, read: Read | None = None
) -> tuple[values.Evidence, str]:
    """Return one boiler's evidence and its build; with `known_at`, only what was posted by then.

    A `line_cache` used again for the same boiler saves reading. Raises LookupError before a catalogue is loaded.
    """
    boiler = Boiler.objects.select_related("building").get(id=boiler_id)
    zone = boiler.building.zone
    positions = list(_positions(boiler))
    ids = [p.id for p in positions]
    adopted = _adopted(boiler.portfolio_id, known_at)
    releases = catalog.releases(known_at)
    if not releases:
        raise LookupError("no catalogue is loaded: run load_catalogue first")
    evidence = values.Evidence(
        boiler=boiler.id,
        name=boiler.name,
        zone=zone,
        catalogue=catalog.catalogue_of(releases[0].number),
        terms=as_terms(adopted, zone),
        positions=tuple(values.Position(p.id, p.ref, p.name, p.role_id) for p in positions),
        fittings=tuple(_fittings(ids, known_at)),
        settings=tuple(_settings(boiler.id, ids, known_at)),
        services=tuple(_services(boiler.id, known_at)),
        visits=tuple(_visits(boiler, ids, known_at, read or Read())),
        editions=tuple(_editions(releases[1:], zone)),
        papers=tuple(_papers(boiler, known_at)),
    )
    return evidence, _build(releases[-1].number, adopted)


def _adopted(portfolio: UUID, known_at: datetime | None) -> list[Adoption]:
    """Return the portfolio's terms posted by `known_at`, and always the first, which apply to all time."""
    rows = list(Adoption.objects.filter(portfolio=portfolio).order_by("version"))
    return [r for r in rows if r is rows[0] or known_at is None or r.posted_at <= known_at]


def _editions(releases: Iterable[catalog.Known], zone: str) -> Iterable[values.Edition]:
    for release in releases:
        if release.starts_on is not None:
            yield values.Edition(day_start(release.starts_on, zone), catalog.catalogue_of(release.number))


def _papers(boiler: Boiler, known_at: datetime | None) -> Iterable[values.Paper]:
    """Yield the boiler's own papers and its building's."""
    rows = _known(Paper.objects.filter(Q(boiler=boiler) | Q(boiler=None, building=boiler.building_id)), known_at)
    for row in {(r.boiler_id, r.kind, r.since): r for r in rows}.values():
        yield values.Paper(row.kind, row.name, row.since, row.until)


def _positions(boiler: Boiler) -> QuerySet[Position]:
    shared = Q(header_group=boiler.header_group_id) if boiler.header_group_id else Q(pk__in=())
    return Position.objects.filter(Q(boiler=boiler) | shared).order_by("id")


def _known(rows: QuerySet[Any], known_at: datetime | None) -> QuerySet[Any]:
    """Return the rows posted by `known_at` in posting order: of two about one instant the one posted later holds."""
    return (rows.filter(posted_at__lte=known_at) if known_at else rows).order_by("posted_at")


def _fittings(positions: list[UUID], known_at: datetime | None) -> Iterable[values.Fitting]:
    rows = _known(Fitting.objects.filter(position__in=positions).select_related("device"), known_at)
    for row in {(r.position_id, r.since): r for r in rows}.values():
        yield values.Fitting(
            position=row.position_id,
            device=row.device_id,
            kind=row.device.kind_id if row.device else "",
            since=row.since,
            attributes=row.device.attributes if row.device else {},
            declared={code: date.fromisoformat(day) for code, day in row.declared.items()},
        )


def _settings(boiler: UUID, positions: list[UUID], known_at: datetime | None) -> Iterable[values.Setting]:
    rows = _known(Setting.objects.filter(Q(boiler=boiler) | Q(position__in=positions)), known_at)
    for row in {(r.position_id, r.key, r.since): r for r in rows}.values():
        value = tuple(UUID(v) for v in row.value) if isinstance(row.value, list) else row.value
        yield values.Setting(row.position_id, row.key, value, row.since)


def _services(boiler: UUID, known_at: datetime | None) -> Iterable[values.ServiceChange]:
    rows = _known(ServiceState.objects.filter(boiler=boiler), known_at)
    for row in {r.since: r for r in rows}.values():
        yield values.ServiceChange(values.Service(row.state), row.since)


def _visits(boiler: Boiler, positions: list[UUID], known_at: datetime | None, read: Read) -> Iterable[values.Visit]:
    """Yield visits and the corrections that may restate them; of a neighbor's, only entries at shared positions."""
    rows = _posted(boiler, known_at)
    posted = {v.id: v for v in rows}
    seconded = _seconded(posted, known_at)
    visits = _undecided(posted, seconded)
    people = _qualifications(boiler, rows, visits)
    entries = read.lines(boiler, visits, positions)
    for visit in visits.values():
        own = visit.boiler_id == boiler.id
        if entries[visit.id] or own or visit.corrects_id in visits:
            yield values.Visit(
                id=visit.id,
                kind=visit.kind,
                at=visit.performed_at,
                posted_at=visit.posted_at,
                entries=entries[visit.id],
                qualifications=frozenset(people[visit.id]),
                state_on_arrival=visit.state_on_arrival,
                left_as=visit.left_as,
                leaving_checks={k: bool(v) if isinstance(v, list) else v for k, v in visit.leaving_checks.items()},
                corrects=visit.corrects_id,
                void=visit.void,
                seconded=visit.id in seconded,
                own=own,
            )


def _posted(boiler: Boiler, known_at: datetime | None) -> QuerySet[Visit]:
    members = Q(boiler=boiler)
    if boiler.header_group_id:
        members |= Q(boiler__header_group=boiler.header_group_id)
    found = Visit.objects.filter(members)
    return found.filter(posted_at__lte=known_at) if known_at else found


def _seconded(posted: dict[UUID, Visit], known_at: datetime | None) -> set[UUID]:
    """Return the corrections that a second qualified person has confirmed."""
    corrections = [v.id for v in posted.values() if v.corrects_id]
    if not corrections:
        return set()
    found = Seconding.objects.filter(visit__in=corrections)
    return set((found.filter(at__lte=known_at) if known_at else found).values_list("visit", flat=True))


def _undecided(posted: dict[UUID, Visit], seconded: set[UUID]) -> dict[UUID, Visit]:
    """Return the visits without those replaced by a seconded correction; among the rest the rules choose."""
    gone: set[UUID | None] = set()
    for correction in seconded:
        old = posted[correction].corrects_id
        while old in posted and old not in gone:
            gone.add(old)
            old = posted[old].corrects_id
    return {id_: visit for id_, visit in posted.items() if id_ not in gone}


def _qualifications(boiler: Boiler, posted: QuerySet[Visit], visits: dict[UUID, Visit]) -> dict[UUID, set[str]]:
    """Return by visit the qualification codes its people had when it was performed."""
    there = Attendance.objects.filter(visit__in=posted.values("id"), user__isnull=False).values_list("visit", "user")
    present = [(visit, user) for visit, user in there if visit in visits]
    held = defaultdict(list)
    for row in accounts.held(boiler.portfolio_id).filter(user__in={user for _, user in present}):
        held[row.user_id].append(row)
    found: dict[UUID, set[str]] = defaultdict(set)
    for visit, user in present:
        at = visits[visit].performed_at
        found[visit] |= {q.code for q in held[user] if q.since <= at and (q.until is None or at < q.until)}
    return found


def _entries(boiler: Boiler, visits: list[UUID], positions: list[UUID]) -> Lines:
    """Return the entries at these positions, by visit; entries without a position count for their own boiler only."""
    whole = Q(position=None, visit__boiler=boiler)
    rows = Entry.objects.filter(visit__in=visits).filter(Q(position__in=positions) | whole)
    listed = list(rows.select_related("device").order_by("visit_id", "number"))
    readings = _readings([row.id for row in listed])
    found: dict[UUID, list[values.Entry]] = defaultdict(list)
    for row in listed:
        found[row.visit_id].append(_entry(row, readings[row.id]))
    return {visit: tuple(found[visit]) for visit in visits}


def _entry(row: Entry, readings: dict[str, values.Value]) -> values.Entry:
    return values.Entry(
        id=row.id,
        number=row.number,
        act=row.act,
        code=row.code,
        position=row.position_id,
        at=row.performed_at,
        phase=row.phase,
        outcome=row.outcome,
        why=row.why,
        readings=readings,
        device=row.device_id,
        kind=row.device.kind_id if row.device else "",
        values=row.values,
    )


def _readings(entries: list[UUID]) -> dict[UUID, dict[str, values.Value]]:
    found: dict[UUID, dict[str, values.Value]] = defaultdict(dict)
    for row in Reading.objects.filter(entry__in=entries):
        value = row.flag if row.flag is not None else row.number if row.number is not None else row.word
        found[row.entry_id][row.name] = value
    return found
