"""From rows to `rules.values.Evidence`. The queries stand in the order they run, each once per boiler.

A boiler on a header takes two more, however many boilers share it.
"""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db.models import Q, QuerySet

from fleet.calendar import day_start
from fleet.catalog import queries as catalog
from fleet.portfolio.models import Boiler, Fitting, Paper, Position, ServiceState, Setting
from fleet.rules import BUILD, values
from fleet.rules.vocabulary import OPERATOR
from fleet.terms.models import Adoption
from fleet.terms.values import as_terms, newest_version
from fleet.visits.models import Attendance, Entry, Reading, Seconding, Visit
from fleet.visits.named_people import NamedPerson, people_by_visit

LinesByVisit = dict[UUID, tuple[values.EntryFact, ...]]  # the entries of each visit


def build_of(portfolio: UUID, at: datetime) -> str:
    """Return the build of a portfolio's conclusions: rules version, newest release loaded, newest terms adopted.

    A judgement uses all releases and terms from their days on, so nothing is judged again on such a day.
    """
    return _build_name(catalog.newest_release_number(), list(Adoption.objects.filter(portfolio=portfolio)))


def _build_name(release: int | None, adopted: list[Adoption]) -> str:
    return f"{BUILD}c{release}.t{newest_version(adopted)}"


class VisitLineCache:
    """A cache of visit lines: posted lines never change and are not read again.

    A visit is identified by its content's digest. A visit that fits a device is always read, since the device's kind
    may still change in the register.
    """

    def __init__(self) -> None:
        self._positions: list[UUID] = []
        self._lines: dict[tuple[UUID, str], tuple[values.EntryFact, ...]] = {}
        self.count = 0  # lines returned by the last call

    def read_lines(self, boiler: Boiler, visits: dict[UUID, Visit], positions: list[UUID]) -> LinesByVisit:
        """Return the entries at these positions of the boiler, by visit."""
        if positions != self._positions:
            self._positions, self._lines = positions, {}
        cached = {v.id: self._lines.get((v.id, v.digest)) for v in visits.values()}
        fetched = _entries_by_visit(boiler, [v for v, lines in cached.items() if lines is None], positions)
        lines = {v: fetched[v] if cached_lines is None else cached_lines for v, cached_lines in cached.items()}
        reusable = {v: visit_lines for v, visit_lines in lines.items() if all(e.device is None for e in visit_lines)}
        self._lines = {(v, visits[v].digest): visit_lines for v, visit_lines in reusable.items()}
        self.count = sum(map(len, lines.values()))
        return lines


def gather_evidence(
    boiler_id: UUID, at: datetime, known_at: datetime | None = None, line_cache: VisitLineCache | None = None
) -> tuple[values.Evidence, str]:
    """Return one boiler's evidence and its build; with `known_at`, only what was posted by then.

    A `line_cache` used again for the same boiler saves reading. Raises LookupError before a catalogue is loaded.
    """
    boiler = Boiler.objects.select_related("building").get(id=boiler_id)
    zone = boiler.building.zone
    positions = list(_positions_of(boiler))
    ids = [p.id for p in positions]
    adopted = _adopted_terms(boiler.portfolio_id, known_at)
    releases = catalog.releases_known_at(known_at)
    if not releases:
        raise LookupError("no catalogue is loaded: run load_catalogue first")
    fittings, settings = _fitting_rows(ids, known_at), _setting_rows(boiler.id, ids, known_at)
    first_days = _first_days(boiler, positions, fittings)
    evidence = values.Evidence(
        boiler=boiler.id,
        name=boiler.name,
        zone=zone,
        catalogue=catalog.catalogue_of(releases[0].number),
        terms=as_terms(adopted, zone),
        positions=tuple(
            values.PositionFact(p.id, p.ref, p.name, role=p.role_id, since=first_days[p.id]) for p in positions
        ),
        fittings=tuple(_fitting_value(row) for row in fittings),
        settings=tuple(_setting_value(row) for row in settings),
        services=tuple(_read_services(boiler.id, known_at)),
        header_services=tuple(_read_header_services(boiler, known_at)),
        visits=tuple(_read_visits(boiler, ids, known_at, line_cache or VisitLineCache())),
        editions=tuple(_read_editions(releases[1:], zone)),
        papers=tuple(_read_papers(boiler, known_at)),
        register=values.RegisterPosted(_register_posted_at(boiler, positions, [*fittings, *settings])),
    )
    return evidence, _build_name(releases[-1].number, adopted)


def _adopted_terms(portfolio: UUID, known_at: datetime | None) -> list[Adoption]:
    """Return the portfolio's terms posted by `known_at`, and always the first, which apply to all time."""
    rows = list(Adoption.objects.filter(portfolio=portfolio).order_by("version"))
    return [r for r in rows if r is rows[0] or known_at is None or r.posted_at <= known_at]


def _read_editions(releases: Iterable[catalog.ReleaseStart], zone: str) -> Iterable[values.CatalogueEdition]:
    for release in releases:
        if release.starts_on is not None:
            yield values.CatalogueEdition(day_start(release.starts_on, zone), catalog.catalogue_of(release.number))


def _read_papers(boiler: Boiler, known_at: datetime | None) -> Iterable[values.PaperFact]:
    """Yield the boiler's own papers and its building's."""
    rows = _known_rows(Paper.objects.filter(Q(boiler=boiler) | Q(boiler=None, building=boiler.building_id)), known_at)
    for row in {(r.boiler_id, r.kind, r.since): r for r in rows}.values():
        yield values.PaperFact(row.kind, row.name, row.since, row.until)


def _positions_of(boiler: Boiler) -> QuerySet[Position]:
    shared = Q(header_group=boiler.header_group_id) if boiler.header_group_id else Q(pk__in=())
    return Position.objects.filter(Q(boiler=boiler) | shared).order_by("id")


def _known_rows(rows: QuerySet[Any], known_at: datetime | None) -> QuerySet[Any]:
    """Return the rows posted by `known_at` in posting order: of two about one instant the one posted later holds."""
    return (rows.filter(posted_at__lte=known_at) if known_at else rows).order_by("posted_at")


def _fitting_rows(positions: list[UUID], known_at: datetime | None) -> list[Fitting]:
    rows = _known_rows(Fitting.objects.filter(position__in=positions).select_related("device"), known_at)
    return list({(r.position_id, r.since): r for r in rows}.values())


def _fitting_value(row: Fitting) -> values.FittingFact:
    return values.FittingFact(
        position=row.position_id,
        device=row.device_id,
        kind=row.device.kind_id if row.device else "",
        since=row.since,
        attributes=row.device.attributes if row.device else {},
        declared={code: date.fromisoformat(day) for code, day in row.declared.items()},
    )


def _setting_rows(boiler: UUID, positions: list[UUID], known_at: datetime | None) -> list[Setting]:
    rows = _known_rows(Setting.objects.filter(Q(boiler=boiler) | Q(position__in=positions)), known_at)
    return list({(r.position_id, r.key, r.since): r for r in rows}.values())


def _setting_value(row: Setting) -> values.SettingFact:
    value = tuple(UUID(v) for v in row.value) if isinstance(row.value, list) else row.value
    return values.SettingFact(row.position_id, row.key, value, row.since)


def _first_days(boiler: Boiler, positions: list[Position], fittings: list[Fitting]) -> dict[UUID, datetime]:
    """Return from when the register names each place: its first fitting, an empty one from the boiler's first day."""
    first_days = {p.id: boiler.since for p in positions}
    for row in sorted(fittings, key=lambda r: r.since, reverse=True):
        first_days[row.position_id] = row.since
    return first_days


def _register_posted_at(boiler: Boiler, positions: list[Position], rows: Iterable[Fitting | Setting]) -> datetime:
    """Return when the boiler's own register was first posted; without a fact of it, the boiler's first day."""
    own = {p.id for p in positions if p.boiler_id == boiler.id}
    posted = [r.posted_at for r in rows if r.position_id in own or r.position_id is None]
    return max(boiler.since, min(posted, default=boiler.since))


def _read_services(boiler: UUID, known_at: datetime | None) -> Iterable[values.ServiceChange]:
    for row in _newest_services(ServiceState.objects.filter(boiler=boiler), known_at):
        yield values.ServiceChange(values.ServiceMode(row.state), row.since)


def _newest_services(rows: QuerySet[ServiceState], known_at: datetime | None) -> Iterable[ServiceState]:
    """Return the statements that count: of two about one boiler and instant, the one posted last."""
    return {(r.boiler_id, r.since): r for r in _known_rows(rows, known_at)}.values()


def _read_header_services(boiler: Boiler, known_at: datetime | None) -> Iterable[tuple[values.ServiceChange, ...]]:
    """Yield the service states of each other boiler on the same header; nothing is asked of a boiler alone."""
    if boiler.header_group_id is None:
        return
    others = Boiler.objects.filter(header_group=boiler.header_group_id).exclude(id=boiler.id).order_by("id")
    changes: dict[UUID, list[values.ServiceChange]] = {other: [] for other in others.values_list("id", flat=True)}
    for row in _newest_services(ServiceState.objects.filter(boiler__in=changes.keys()), known_at):
        changes[row.boiler_id].append(values.ServiceChange(values.ServiceMode(row.state), row.since))
    yield from map(tuple, changes.values())


def _read_visits(
    boiler: Boiler, positions: list[UUID], known_at: datetime | None, line_cache: VisitLineCache
) -> Iterable[values.VisitFact]:
    """Yield visits and the corrections that may restate them; of a neighbor's, only entries at shared positions."""
    rows = _posted_visits(boiler, known_at)
    posted = {v.id: v for v in rows}
    seconded = _seconded_corrections(posted, known_at)
    visits = _without_superseded(posted, seconded)
    people = people_by_visit(Attendance.objects.filter(visit__in=rows.values("id")), known_at)
    entries = line_cache.read_lines(boiler, visits, positions)
    for visit in visits.values():
        is_own = visit.boiler_id == boiler.id
        paper = _paper_value(visit)
        present = people.get(visit.id, []) if paper is None else []
        if entries[visit.id] or is_own or visit.corrects_id in visits:
            yield values.VisitFact(
                id=visit.id,
                kind=visit.kind,
                at=visit.performed_at,
                posted_at=visit.posted_at,
                entries=entries[visit.id],
                qualifications=_counting_qualifications(present, visit.performed_at),
                unconfirmed=_unconfirmed_names(present, visit.performed_at),
                relayed_from=_relayed_operators(present, visit.performed_at),
                paper=paper,
                state_on_arrival=visit.state_on_arrival,
                left_as=visit.left_as,
                leaving_checks={k: bool(v) if isinstance(v, list) else v for k, v in visit.leaving_checks.items()},
                corrects=visit.corrects_id,
                void=visit.void,
                seconded=visit.id in seconded,
                of_this_boiler=is_own,
            )


def _paper_value(visit: Visit) -> values.OthersPaper | None:
    row = getattr(visit, "paper", None)
    return values.OthersPaper(row.body, row.name, row.number, row.dated_on) if row else None


def _posted_visits(boiler: Boiler, known_at: datetime | None) -> QuerySet[Visit]:
    members = Q(boiler=boiler)
    if boiler.header_group_id:
        members |= Q(boiler__header_group=boiler.header_group_id)
    visits = Visit.objects.filter(members).select_related("paper")
    return visits.filter(posted_at__lte=known_at) if known_at else visits


def _seconded_corrections(posted: dict[UUID, Visit], known_at: datetime | None) -> set[UUID]:
    """Return the corrections and papers that a second qualified person has confirmed."""
    corrections = [v.id for v in posted.values() if v.corrects_id or hasattr(v, "paper")]
    if not corrections:
        return set()
    secondings = Seconding.objects.filter(visit__in=corrections)
    return set((secondings.filter(at__lte=known_at) if known_at else secondings).values_list("visit", flat=True))


def _without_superseded(posted: dict[UUID, Visit], seconded: set[UUID]) -> dict[UUID, Visit]:
    """Return the visits without those replaced by a seconded correction; among the rest the rules choose."""
    superseded: set[UUID | None] = set()
    for correction in seconded:
        old = posted[correction].corrects_id
        while old in posted and old not in superseded:
            superseded.add(old)
            old = posted[old].corrects_id
    return {id_: visit for id_, visit in posted.items() if id_ not in superseded}


def _counting_qualifications(present: Iterable[NamedPerson], at: datetime) -> frozenset[str]:
    """Return what those who stand behind a visit were qualified for when it was performed."""
    return frozenset(code for person in present for code in person.counting_codes_at(at))


def _unconfirmed_names(present: Iterable[NamedPerson], at: datetime) -> tuple[values.UnconfirmedName, ...]:
    """Return who is named and has not said so, and what his word would add."""
    people = list(present)
    counting = _counting_qualifications(people, at)
    names = (values.UnconfirmedName(p.user, p.codes_at(at) - counting) for p in people if p.waits)
    return tuple(sorted((n for n in names if n.qualifications), key=lambda n: str(n.person)))


def _relayed_operators(present: Iterable[NamedPerson], at: datetime) -> tuple[UUID, ...]:
    """Return the operators whose word is relayed; none where an operator stands behind the visit himself."""
    people = list(present)
    if any(person.stands and OPERATOR in person.codes_at(at) for person in people):
        return ()
    return tuple(sorted((p.user for p in people if p.is_relayed_at(at)), key=str))


def _entries_by_visit(boiler: Boiler, visits: list[UUID], positions: list[UUID]) -> LinesByVisit:
    """Return the entries at these positions, by visit; entries without a position count for their own boiler only."""
    whole = Q(position=None, visit__boiler=boiler)
    rows = Entry.objects.filter(visit__in=visits).filter(Q(position__in=positions) | whole)
    listed = list(rows.select_related("device").order_by("visit_id", "number"))
    readings = _readings_by_entry([row.id for row in listed])
    by_visit: dict[UUID, list[values.EntryFact]] = defaultdict(list)
    for row in listed:
        by_visit[row.visit_id].append(_entry_value(row, readings[row.id]))
    return {visit: tuple(by_visit[visit]) for visit in visits}


def _entry_value(row: Entry, readings: dict[str, values.Value]) -> values.EntryFact:
    return values.EntryFact(
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


def _readings_by_entry(entries: list[UUID]) -> dict[UUID, dict[str, values.Value]]:
    by_entry: dict[UUID, dict[str, values.Value]] = defaultdict(dict)
    for row in Reading.objects.filter(entry__in=entries):
        value = row.flag if row.flag is not None else row.number if row.number is not None else row.word
        by_entry[row.entry_id][row.name] = value
    return by_entry
