"""The office edits the register: through the same checks as a sheet, or by a dated fact.

Each verb locks the building's boilers, compares what the editor last saw with what is stored (412 where it differs),
adds facts and judges.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID

from django.db import transaction

from fleet.calendar import day_of, day_start
from fleet.catalog import queries as catalog
from fleet.errors import Fault, Refused
from fleet.pipeline.conclude import write_and_conclude
from fleet.pipeline.papers import add_paper
from fleet.pipeline.register import refuse_fixed, save_plan
from fleet.pipeline.value_edits import refuse_value, value_in_force
from fleet.portfolio.locks import lock_boilers
from fleet.portfolio.models import Boiler, Building, Fitting, Portfolio, Position, ServiceState, Setting
from fleet.records.events import Cause, ChangeEvent
from fleet.rules.values import ServiceMode
from fleet.sheets import change_sentences, columns, export
from fleet.sheets.plan import plan_import
from fleet.sheets.register_sheet import rows_of
from fleet.sheets.register_snapshot import NO_FITTINGS, RegisterSnapshot
from fleet.sheets.table import SheetTable

Cells = Mapping[str, str]
MAX_TIME_AHEAD = timedelta(days=366)


@dataclass(frozen=True, slots=True)
class EditScope:
    """Which rows of a building's sheet an edit is about: all of them, one boiler's, or one place's. "" means any."""

    building: Building
    boiler: str = ""
    position: str = ""

    def includes_row(self, cells: Cells) -> bool:
        """Whether the edit is about this row of the sheet."""
        is_same_boiler = self.boiler in ("", cells["boiler_ref"])
        return is_same_boiler and self.position in ("", cells.get("position_ref", ""))


def _stale_error() -> Refused:
    return Refused("stale", "Somebody changed this in the meantime. Check it again, then decide.", status=412)


def edit_cells(
    *, scope: EditScope, was: Cells, cells: Cells, at: datetime, cause: Cause, emptied: bool = False
) -> None:
    """Change cells of existing rows, as a sheet with these cells would.

    `was` is what the editor saw. With `emptied` the cells of the place's device are dropped first. Raises Refused with
    a fault for each column, with 412 where a column differs from `was`.
    """
    _edit_through_sheet(
        scope.building,
        at,
        cause,
        lambda rows: [_edited_row(row, scope, was=was, cells=cells, emptied=emptied) for row in rows],
    )


def add_cells(*, scope: EditScope, cells: Cells, at: datetime, cause: Cause) -> None:
    """Add a row to those of a boiler or building: a place, or a boiler without a place. Raises Refused."""

    def add_row(rows: list[dict[str, str]]) -> list[dict[str, str]]:
        level = "boiler" if scope.boiler else "building"
        _refuse_existing(rows, cells, scope)
        sibling = next((row for row in rows if scope.includes_row(row)), {})
        repeated_columns = _REPEATED[level]
        new_row = {**{c: v for c, v in sibling.items() if c in repeated_columns}, **cells}
        # A boiler without places has one row without a position: the new place replaces it.
        other_rows = [r for r in rows if not (scope.boiler and scope.includes_row(r) and not r.get("position_ref"))]
        return [*other_rows, new_row]

    _edit_through_sheet(scope.building, at, cause, add_row)


_OF_BUILDING = ("portfolio_ref", "building_ref", *columns.OF_BUILDING)
_REPEATED = {"building": _OF_BUILDING, "boiler": (*_OF_BUILDING, "boiler_ref", *columns.OF_BOILER)}


def add_building(*, portfolio: Portfolio, cells: Cells, at: datetime, cause: Cause) -> None:
    """Add a building with its first boiler. Raises Refused where its ref is taken or a cell is wrong."""
    if Building.objects.filter(portfolio=portfolio, ref=cells.get("building_ref", "").strip()).exists():
        raise Refused("already_there", "There is already a building with this ref.", ("building_ref",), status=422)
    with transaction.atomic():
        _save_rows(portfolio, [dict(cells)], at, cause)


def _edit_through_sheet(
    building: Building, at: datetime, cause: Cause, change: Callable[[list[dict[str, str]]], list[dict[str, str]]]
) -> None:
    portfolio = building.portfolio
    with transaction.atomic():
        boilers = Boiler.objects.filter(building=building)
        lock_boilers(boilers.values_list("id", flat=True))
        names, *rows = export.sheet_rows(
            portfolio=portfolio, boilers=boilers, catalogue=catalog.catalogue_at(at), at=at
        )
        texts = [
            {n: columns.as_text(v) for n, v in zip(names, row, strict=True) if v not in ("", None)} for row in rows
        ]
        _save_rows(portfolio, _drop_settled_exemptions(change(texts), texts), at, cause)


def _drop_settled_exemptions(rows: list[dict[str, str]], rows_on_record: list[dict[str, str]]) -> list[dict[str, str]]:
    """Drop what an earlier release let a register leave out without a reason, where this edit leaves it as it stands.

    It stays on record, and the rules say what is missing. Without this, no edit of its building would go through.
    """
    settled_places = {_place_key(row) for row in rows_on_record if row.get("needed") == "no"}
    settled_boilers = {row["boiler_ref"] for row in rows_on_record if _has_rule_missing(row)}
    edited_rows = []
    for row in rows:
        dropped = {"needed"} if row.get("needed") == "no" and _place_key(row) in settled_places else set()
        if _has_rule_missing(row) and row["boiler_ref"] in settled_boilers:
            dropped.add("cutoffs_needed")
        edited_rows.append({column: text for column, text in row.items() if column not in dropped})
    return edited_rows


def _place_key(row: Cells) -> tuple[str, str]:
    return row["boiler_ref"], row.get("position_ref", "")


def _has_rule_missing(row: Cells) -> bool:
    return row.get("cutoffs_needed") == "1" and "cutoffs_rule" not in row


def _save_rows(portfolio: Portfolio, row_texts: list[dict[str, str]], at: datetime, cause: Cause) -> None:
    release = catalog.catalogue_at(at)
    header = list(dict.fromkeys([*columns.REQUIRED, "access_hours", *(name for row in row_texts for name in row)]))
    records = [(n, [row.get(name, "").strip() for name in header]) for n, row in enumerate(row_texts, start=1)]
    try:
        rows = rows_of(SheetTable(header, records), release)
        register = RegisterSnapshot.for_sheet(portfolio, rows, at)
        refuse_fixed(portfolio, register, rows, at)
    except Refused as refused:
        raise _faults_by_column(refused) from None
    plan = plan_import(portfolio=portfolio, register=register, rows=rows, at=at)
    if not plan.events:
        raise Refused("nothing_new", "This is already on record.", status=422)
    save_plan(plan, at=at, cause=cause)


def _faults_by_column(refused: Refused) -> Refused:
    """Drop the row numbers of faults, and keep each fault once however many rows repeat it."""
    once = {(f.code, f.message, f.at[1:]): Fault(f.code, f.message, f.at[1:]) for f in refused.faults}
    return Refused.from_faults(once.values(), status=422)


def _edited_row(row: dict[str, str], scope: EditScope, was: Cells, cells: Cells, emptied: bool) -> dict[str, str]:
    if not scope.includes_row(row):
        return row
    if any(row.get(column, "") != text for column, text in was.items()):
        raise _stale_error()
    kept_cells = {c: v for c, v in row.items() if not emptied or c not in _device_columns(row)}
    return {c: v for c, v in {**kept_cells, **cells}.items() if v.strip() or c == "access_hours"}


def _device_columns(row: Cells) -> set[str]:
    always = {*columns.REQUIRED, *columns.OPTIONAL} - {"kind", "fitted_on"}
    return row.keys() - always


def _refuse_existing(rows: Iterable[Cells], cells: Cells, scope: EditScope) -> None:
    column = "position_ref" if scope.boiler else "boiler_ref"
    ref = cells.get(column, "").strip()
    if any(scope.includes_row(row) and row.get(column) == ref for row in rows if ref):
        raise Refused("already_there", "This ref is already in use.", (column,), status=422)


# Verbs that write a dated fact.


def set_value(
    *, boiler: Boiler, position: Position | None, key: str, was: str, text: str, day: str, at: datetime, cause: Cause
) -> None:
    """Set a value of a boiler or place from a local day on. A mistake is corrected by a later statement.

    Raises Refused: 412 where `was` is not the value in force, 422 for a value or day that cannot be.
    """

    def write_facts(_: list[Boiler]) -> ChangeEvent:
        register, zone = _read_register(boiler, at), boiler.building.zone
        place = next((p for p in register.positions.values() if position and p.id == position.id), None)
        before = value_in_force(register, boiler, place=place, key=key, at=at)
        if columns.as_text(before) != was:
            raise _stale_error()
        refuse_value(register, place, key=key, text=text.strip(), at=at)
        since, value = _parse_start(day, boiler, at), columns.as_value(key, text.strip())
        if value == before:
            raise Refused("nothing_new", "This is already on record.", ("value",), status=422)
        owner: dict[str, UUID] = {"position_id": place.id} if place else {"boiler_id": boiler.id}
        values = {"key": key, "value": value, "since": since, "posted_at": at}
        Setting.objects.create(portfolio_id=boiler.portfolio_id, **owner, **values)
        if key == columns.NOT_NEEDED_BECAUSE:
            unneeded = {**values, "key": "needed", "value": False}
            Setting.objects.create(portfolio_id=boiler.portfolio_id, **owner, **unneeded)
        moved_from, moved_to = (change_sentences.value_in_words(key, v) for v in (before, value))
        change = change_sentences.setting_sentence(key, moved_from, moved_to, _start_in_words(since, at, zone))
        return _edit_event(
            boiler,
            place.id if place else boiler.id,
            kind="register.set",
            before_and_after=(moved_from, moved_to),
            sentence=f"{place.name if place else boiler.name}: {change}",
            since=since,
        )

    _write_edit(boiler, write_facts, at=at, cause=cause)


def set_service(*, boiler: Boiler, was: str, state: str, day: str, at: datetime, cause: Cause) -> None:
    """Set the boiler's service state from a local day on. Raises Refused as `set_value` does."""
    if state not in set(ServiceMode):
        raise Refused("unknown_choice", f"It must be one of {', '.join(ServiceMode)}.", ("state",), status=422)

    def write_facts(_: list[Boiler]) -> ChangeEvent:
        before = service_state_at(boiler.id, at)
        if before != was:
            raise _stale_error()
        if before == state:
            raise Refused("nothing_new", "This is already on record.", ("state",), status=422)
        since = _parse_start(day, boiler, at)
        values = {"boiler": boiler, "state": state, "since": since, "posted_at": at}
        ServiceState.objects.create(portfolio_id=boiler.portfolio_id, **values)
        when, words = _start_in_words(since, at, boiler.building.zone), state.replace("_", " ")
        return _edit_event(
            boiler,
            boiler.id,
            kind="register.service",
            before_and_after=(before, state),
            sentence=f"{boiler.name} is {words} {when}.",
            since=since,
        )

    _write_edit(boiler, write_facts, at=at, cause=cause)


def remove_device(*, boiler: Boiler, position: Position, was: str, day: str, at: datetime, cause: Cause) -> None:
    """Empty a place from a local day on. Raises Refused: 412 where `was` is not the device there, 422 for a bad day."""

    def write_facts(_: list[Boiler]) -> ChangeEvent:
        occupant = _read_register(boiler, at).fittings.get(position.id, NO_FITTINGS).now
        if occupant is None or str(occupant.device or "") != was:
            raise _stale_error()
        if not occupant.kind:
            raise Refused("nothing_new", "Nothing is fitted here.", status=422)
        since = _parse_start(day, boiler, at)
        if since <= occupant.since:
            raise Refused("before_it_was_fitted", "It was fitted later than that.", ("day",), status=422)
        values = {"position": position, "device": None, "since": since, "posted_at": at}
        Fitting.objects.create(portfolio_id=boiler.portfolio_id, **values)
        kind, when = occupant.kind.replace("_", " ").capitalize(), _start_in_words(since, at, boiler.building.zone)
        return _edit_event(
            boiler,
            position.id,
            kind="register.removed",
            before_and_after=(occupant.kind, ""),
            sentence=f"{kind} at {position.name} is removed {when}.",
            since=since,
        )

    _write_edit(boiler, write_facts, at=at, cause=cause)


def service_state_at(boiler: UUID, at: datetime) -> str:
    """Return the service state in force at `at`; a boiler without any statement is in service."""
    statement = ServiceState.objects.filter(boiler=boiler, since__lte=at).order_by("-since", "-posted_at").first()
    return statement.state if statement else ServiceMode.IN_SERVICE.value


def _read_register(boiler: Boiler, at: datetime) -> RegisterSnapshot:
    return RegisterSnapshot.for_boilers(
        Boiler.objects.filter(id=boiler.id), Building.objects.filter(id=boiler.building_id), at
    )


def _parse_start(day: str, boiler: Boiler, at: datetime) -> datetime:
    """Return the instant at which a local day begins, or `at` where that day is today. Raises Refused."""
    parsed_day, zone = columns.as_day(day.strip()), boiler.building.zone
    if parsed_day is None:
        raise Refused("not_a_date", "Give the day from which it holds.", ("day",), status=422)
    if parsed_day == day_of(at, zone):
        return at
    since = (
        max(day_start(parsed_day, zone), boiler.since)
        if parsed_day == day_of(boiler.since, zone)
        else day_start(parsed_day, zone)
    )
    if since < boiler.since:
        raise Refused("too_early", "The boiler was not on record on that day.", ("day",), status=422)
    if since > at + MAX_TIME_AHEAD:
        raise Refused("too_late", "That is more than a year ahead.", ("day",), status=422)
    return since


def _start_in_words(since: datetime, at: datetime, zone: str) -> str:
    day: date = day_of(since, zone)
    return "from now on" if since == at else f"from {day:%a %d %b %Y} on"


def _edit_event(
    boiler: Boiler, subject: UUID, *, kind: str, before_and_after: tuple[str, str], sentence: str, since: datetime
) -> ChangeEvent:
    before, after = (change_sentences.shorten_for_log(text) for text in before_and_after)
    return ChangeEvent(
        kind, subject, boiler=boiler.id, before=before, after=after, sentence=sentence, rule="", at=since
    )


def _write_edit(
    boiler: Boiler, write_facts: Callable[[list[Boiler]], ChangeEvent], *, at: datetime, cause: Cause
) -> None:
    """Write one dated fact about one boiler under its lock, and judge the boiler by it."""
    write_and_conclude(
        boilers=[boiler.id],
        at=at,
        cause=cause,
        write_facts=write_facts,
        describe_events=lambda event: {boiler.portfolio_id: [event]},
    )


def hand_in_paper(*, building: Building, boiler: UUID | None, cells: Cells, at: datetime, cause: Cause) -> None:
    """Add a dated paper of a boiler or its building from typed cells. Raises Refused with every fault."""
    days = {name: columns.as_day(cells[name].strip()) for name in ("since", "until")}
    faults = [Fault("not_a_date", "Give a day.", (name,)) for name, day in days.items() if day is None]
    faults += [Fault("empty", "Give it.", (name,)) for name in ("kind", "name") if not cells[name].strip()]
    faults += [Fault("too_long", "At most 32 characters.", ("kind",)) for _ in cells["kind"][32:33]]
    since, until = days["since"], days["until"]
    if since and until and until < since:
        faults.append(Fault("not_possible", "Its last day is before its first.", ("until",)))
    if faults or since is None or until is None:
        raise Refused.from_faults(faults, status=422)
    start = day_start(since, building.zone)
    add_paper(
        building=building.id,
        boiler=boiler,
        kind=cells["kind"].strip(),
        name=cells["name"].strip(),
        since=start,
        until=until,
        at=at,
        cause=cause,
    )
