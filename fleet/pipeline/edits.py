"""The office edits the register: through the same checks as a sheet, or by a dated fact.

Each verb locks the building's boilers, compares what the editor last saw with what is stored (412 where it differs),
adds facts and judges.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import transaction

from fleet.calendar import day_of, day_start
from fleet.catalog import queries as catalog
from fleet.errors import Fault, Refused
from fleet.pipeline.conclude import conclude
from fleet.pipeline.papers import add_paper
from fleet.pipeline.register import refuse_fixed, save
from fleet.portfolio import columns, export, sheetfaults, told
from fleet.portfolio.known import NOBODY, Known, Place
from fleet.portfolio.locks import lock
from fleet.portfolio.models import Boiler, Building, Fitting, Portfolio, Position, ServiceState, Setting
from fleet.portfolio.news import Cause, News
from fleet.portfolio.plan import plan
from fleet.portfolio.sheet import rows_of
from fleet.portfolio.table import Table
from fleet.rules.catalogue import Catalogue
from fleet.rules.values import Service

Cells = Mapping[str, str]
AHEAD = timedelta(days=366)


@dataclass(frozen=True, slots=True)
class Edited:
    """Which rows of a building's sheet an edit is about: all of them, one boiler's, or one place's. "" means any."""

    building: Building
    boiler: str = ""
    position: str = ""

    def meets(self, cells: Cells) -> bool:
        """Whether the edit is about this row of the sheet."""
        own = self.boiler in ("", cells["boiler_ref"])
        return own and self.position in ("", cells.get("position_ref", ""))


def _stale() -> Refused:
    return Refused("stale", "Somebody changed this meanwhile: look again, then decide.", status=412)


def release_at(at: datetime) -> Catalogue:
    """Return the catalogue release in force on the UTC day of `at`."""
    return catalog.catalogue_of(catalog.current(at.astimezone(UTC).date()) or 1)


def edit_cells(*, of: Edited, was: Cells, cells: Cells, at: datetime, cause: Cause, emptied: bool = False) -> None:
    """Change cells of existing rows, as a sheet with these cells would.

    `was` is what the editor saw. With `emptied` the cells of the place's device are dropped first. Raises Refused with
    a fault for each column, with 412 where a column differs from `was`.
    """
    _through_sheet(of.building, at, cause, lambda rows: [_edited(row, of, was, cells, emptied) for row in rows])


def add_cells(*, to: Edited, cells: Cells, at: datetime, cause: Cause) -> None:
    """Add a row to those of a boiler or building: a place, or a boiler without a place. Raises Refused."""

    def added(rows: list[dict[str, str]]) -> list[dict[str, str]]:
        level = "boiler" if to.boiler else "building"
        _refuse_there(rows, cells, to)
        like = next((row for row in rows if to.meets(row)), {})
        kept = _REPEATED[level]
        new = {**{c: v for c, v in like.items() if c in kept}, **cells}
        # A boiler without places has one row without a position: the new place replaces it.
        others = [r for r in rows if not (to.boiler and to.meets(r) and not r.get("position_ref"))]
        return [*others, new]

    _through_sheet(to.building, at, cause, added)


_OF_BUILDING = ("portfolio_ref", "building_ref", *columns.OF_BUILDING)
_REPEATED = {"building": _OF_BUILDING, "boiler": (*_OF_BUILDING, "boiler_ref", *columns.OF_BOILER)}


def add_building(*, portfolio: Portfolio, cells: Cells, at: datetime, cause: Cause) -> None:
    """Add a building with its first boiler. Raises Refused where its ref is taken or a cell is wrong."""
    if Building.objects.filter(portfolio=portfolio, ref=cells.get("building_ref", "").strip()).exists():
        raise Refused("already_there", "There is a building of this ref.", ("building_ref",), status=422)
    with transaction.atomic():
        _saved(portfolio, [dict(cells)], at, cause)


def _through_sheet(
    building: Building, at: datetime, cause: Cause, change: Callable[[list[dict[str, str]]], list[dict[str, str]]]
) -> None:
    portfolio = building.portfolio
    with transaction.atomic():
        own = Boiler.objects.filter(building=building)
        lock(own.values_list("id", flat=True))
        names, *rows = export.sheet(portfolio=portfolio, boilers=own, catalogue=release_at(at), at=at)
        texts = [
            {n: columns.as_text(v) for n, v in zip(names, row, strict=True) if v not in ("", None)} for row in rows
        ]
        _saved(portfolio, change(texts), at, cause)


def _saved(portfolio: Portfolio, listed: list[dict[str, str]], at: datetime, cause: Cause) -> None:
    release = release_at(at)
    header = list(dict.fromkeys([*columns.REQUIRED, "access_hours", *(name for row in listed for name in row)]))
    records = [(n, [row.get(name, "").strip() for name in header]) for n, row in enumerate(listed, start=1)]
    try:
        rows = rows_of(Table(header, records), release)
        known = Known.of(portfolio, rows, at)
        refuse_fixed(portfolio, known, rows, at)
    except Refused as refused:
        raise _by_column(refused) from None
    made = plan(portfolio=portfolio, known=known, rows=rows, at=at)
    if not made.news:
        raise Refused("nothing_new", "This is what is on record already.", status=422)
    save(made, at=at, cause=cause)


def _by_column(refused: Refused) -> Refused:
    """Drop the row numbers of faults, and keep each fault once however many rows repeat it."""
    once = {(f.code, f.message, f.at[1:]): Fault(f.code, f.message, f.at[1:]) for f in refused.faults}
    return Refused.all(once.values(), status=422)


def _edited(row: dict[str, str], of: Edited, was: Cells, cells: Cells, emptied: bool) -> dict[str, str]:
    if not of.meets(row):
        return row
    if any(row.get(column, "") != text for column, text in was.items()):
        raise _stale()
    kept = {c: v for c, v in row.items() if not emptied or c not in _device_columns(row)}
    return {c: v for c, v in {**kept, **cells}.items() if v.strip() or c == "access_hours"}


def _device_columns(row: Cells) -> set[str]:
    always = {*columns.REQUIRED, *columns.OPTIONAL} - {"kind", "fitted_on"}
    return row.keys() - always


def _refuse_there(rows: Iterable[Cells], cells: Cells, to: Edited) -> None:
    column = "position_ref" if to.boiler else "boiler_ref"
    ref = cells.get(column, "").strip()
    if any(to.meets(row) and row.get(column) == ref for row in rows if ref):
        raise Refused("already_there", "There is one of this ref: it stays what it is.", (column,), status=422)


# Verbs that write a dated fact.


def set_value(
    *, boiler: Boiler, position: Position | None, key: str, was: str, text: str, day: str, at: datetime, cause: Cause
) -> None:
    """Set a value of a boiler or place from a local day on. A mistake is corrected by a later statement.

    Raises Refused: 412 where `was` is not the value in force, 422 for a value or day that cannot be.
    """
    with transaction.atomic():
        lock([boiler.id])
        known, zone = _known(boiler, at), boiler.building.zone
        place = next((p for p in known.positions.values() if position and p.id == position.id), None)
        before = _in_force(known, boiler, place, key, at)
        if columns.as_text(before) != was:
            raise _stale()
        _refuse_value(known, place, key, text.strip(), at)
        since, value = _since(day, boiler, at), columns.as_value(key, text.strip())
        if value == before:
            raise Refused("nothing_new", "This is what is on record already.", ("value",), status=422)
        of: dict[str, Any] = {"position_id": place.id} if place else {"boiler_id": boiler.id}
        values = {"key": key, "value": value, "since": since, "posted_at": at}
        Setting.objects.create(portfolio_id=boiler.portfolio_id, **of, **values)
        moved = (told.valued(key, before), told.valued(key, value))
        sentence = f"{place.name if place else boiler.name}: {told.setting(key, *moved, _from(since, at, zone))}"
        _conclude(boiler, place.id if place else boiler.id, "register.set", moved, sentence, since, at, cause)


def set_service(*, boiler: Boiler, was: str, state: str, day: str, at: datetime, cause: Cause) -> None:
    """Set the boiler's service state from a local day on. Raises Refused as `set_value` does."""
    if state not in set(Service):
        raise Refused("unknown_choice", f"It is one of {', '.join(Service)}.", ("state",), status=422)
    with transaction.atomic():
        lock([boiler.id])
        before = service_of(boiler.id, at)
        if before != was:
            raise _stale()
        if before == state:
            raise Refused("nothing_new", "This is what is on record already.", ("state",), status=422)
        since = _since(day, boiler, at)
        values = {"boiler": boiler, "state": state, "since": since, "posted_at": at}
        ServiceState.objects.create(portfolio_id=boiler.portfolio_id, **values)
        when, words = _from(since, at, boiler.building.zone), state.replace("_", " ")
        sentence = f"{boiler.name} is {words} {when}."
        _conclude(boiler, boiler.id, "register.service", (before, state), sentence, since, at, cause)


def remove_device(*, boiler: Boiler, position: Position, was: str, day: str, at: datetime, cause: Cause) -> None:
    """Empty a place from a local day on. Raises Refused: 412 where `was` is not the device there, 422 for a bad day."""
    with transaction.atomic():
        lock([boiler.id])
        now = _known(boiler, at).fittings.get(position.id, NOBODY).now
        if now is None or str(now.device or "") != was:
            raise _stale()
        if not now.kind:
            raise Refused("nothing_new", "Nothing is fitted here.", status=422)
        since = _since(day, boiler, at)
        if since <= now.since:
            raise Refused("before_it_was_fitted", "It was fitted later than that.", ("day",), status=422)
        values = {"position": position, "device": None, "since": since, "posted_at": at}
        Fitting.objects.create(portfolio_id=boiler.portfolio_id, **values)
        kind, when = now.kind.replace("_", " ").capitalize(), _from(since, at, boiler.building.zone)
        sentence = f"{kind} at {position.name} is removed {when}."
        _conclude(boiler, position.id, "register.removed", (now.kind, ""), sentence, since, at, cause)


def service_of(boiler: UUID, at: datetime) -> str:
    """Return the service state in force at `at`; a boiler without any statement is in service."""
    said = ServiceState.objects.filter(boiler=boiler, since__lte=at).order_by("-since", "-posted_at").first()
    return said.state if said else Service.IN_SERVICE.value


def _known(boiler: Boiler, at: datetime) -> Known:
    return Known.within(Boiler.objects.filter(id=boiler.id), Building.objects.filter(id=boiler.building_id), at)


def _in_force(known: Known, boiler: Boiler, place: Place | None, key: str, at: datetime) -> Any:
    if place is None:
        dated = known.settings.get((boiler.id, key))
        return dated.value if dated else None
    if key == "needed":
        dated = known.settings.get((place.id, key))
        return dated.value if dated else True
    now = known.fittings.get(place.id, NOBODY).now
    return export.values(place, now, known, release_at(at)).get(key) if now and now.kind else None


def _refuse_value(known: Known, place: Place | None, key: str, text: str, at: datetime) -> None:
    now = known.fittings.get(place.id, NOBODY).now if place else None
    own: Sequence[str] = columns.ON_BOILER
    if place is not None:
        kind = release_at(at).kinds.get(now.kind) if now else None
        own = ["needed", *(kind.attributes - {"fitted_on"} if kind else ())]
    if key not in own:
        raise Refused("value_does_not_fit", "This has no such value.", ("key",), status=422)
    if not text:
        raise Refused("empty", "A value is needed: what is unknown is left as it is.", ("value",), status=422)
    wrong = sheetfaults.wrong(key, text)
    if wrong:
        raise Refused(*wrong, ("value",), status=422)


def _since(day: str, boiler: Boiler, at: datetime) -> datetime:
    """Return the instant at which a local day begins, or `at` where that day is today. Raises Refused."""
    found, zone = columns.as_day(day.strip()), boiler.building.zone
    if found is None:
        raise Refused("not_a_date", "Give the day from which it holds.", ("day",), status=422)
    if found == day_of(at, zone):
        return at
    since = max(day_start(found, zone), boiler.since) if found == day_of(boiler.since, zone) else day_start(found, zone)
    if since < boiler.since:
        raise Refused("too_early", "The boiler was not on record then.", ("day",), status=422)
    if since > at + AHEAD:
        raise Refused("too_late", "That is more than a year ahead.", ("day",), status=422)
    return since


def _from(since: datetime, at: datetime, zone: str) -> str:
    day: date = day_of(since, zone)
    return "from now on" if since == at else f"from {day:%a %d %b %Y} on"


def _conclude(
    boiler: Boiler,
    subject: UUID,
    kind: str,
    moved: tuple[str, str],
    sentence: str,
    since: datetime,
    at: datetime,
    cause: Cause,
) -> None:
    before, after = (told.short(text) for text in moved)
    news = News(kind, subject, boiler.id, before, after, sentence, "", since)
    conclude(lock([boiler.id]), at=at, cause=cause, told={boiler.portfolio_id: [news]})


def hand_in_paper(*, building: Building, boiler: UUID | None, given: Cells, at: datetime, cause: Cause) -> None:
    """Add a dated paper of a boiler or its building from typed cells. Raises Refused with every fault."""
    days = {name: columns.as_day(given[name].strip()) for name in ("since", "until")}
    faults = [Fault("not_a_date", "Give a day.", (name,)) for name, day in days.items() if day is None]
    faults += [Fault("empty", "Give it.", (name,)) for name in ("kind", "name") if not given[name].strip()]
    faults += [Fault("too_long", "At most 32 characters.", ("kind",)) for _ in given["kind"][32:33]]
    since, until = days["since"], days["until"]
    if since and until and until < since:
        faults.append(Fault("not_possible", "Its last day lies before its first.", ("until",)))
    if faults or since is None or until is None:
        raise Refused.all(faults, status=422)
    start = day_start(since, building.zone)
    texts = {"kind": given["kind"].strip(), "name": given["name"].strip()}
    add_paper(building=building.id, boiler=boiler, since=start, until=until, at=at, cause=cause, **texts)
