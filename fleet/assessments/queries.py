"""Reading the conclusions about visits: entries with verdicts, findings, what stands against firing."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Exists, F, OuterRef, Q, QuerySet, Window
from django.db.models.functions import RowNumber

from fleet.accounts.models import User
from fleet.assessments.models import Answer, Finding, Readiness, Verdict, Waiting
from fleet.assessments.relays import Relay, relays_of
from fleet.catalog import queries as catalog
from fleet.portfolio.models import Boiler
from fleet.records.row_order import rows_after
from fleet.rules.catalogue import Catalogue
from fleet.rules.values import LEVELS, FiringAnswer
from fleet.visits.models import Entry, Reading, Visit
from fleet.visits.queries import visits_to

_ACTS = {"replace": "Replaced", "fit": "Fitted", "remove": "Removed", "set": "Set"}


@dataclass(frozen=True, slots=True)
class EntryLine:
    """One entry in words: what was done, readings (name, value, unit), its verdict now, its outcome in the answer."""

    entry: Entry
    number: int
    title: str
    readings: list[tuple[str, str, str]]
    verdict: Verdict | None
    answered: str
    compared: str  # the value it was compared with, and its unit
    relay: Relay | None = None  # who said it, where it is an operator's word that the desk entered

    @property
    def device_kind(self) -> str:
        """The kind of the device that was fitted, set or removed; "" for a test, whose position says it."""
        device = self.entry.device
        return device.kind.name.lower() if device and self.entry.act != "test" else ""

    @property
    def verdict_text(self) -> str:
        """Its outcome, and the grade of proof if it has one: "Pass, full"."""
        if self.verdict is None:
            return ""
        outcome = self.verdict.outcome.replace("_", " ").capitalize()
        return f"{outcome}, {self.verdict.grade}" if self.verdict.grade not in ("", "failed") else outcome

    @property
    def measured(self) -> list[tuple[str, str, str]]:
        """The readings that have a unit."""
        return [reading for reading in self.readings if reading[2]]

    @property
    def counts_no_more(self) -> bool:
        """Whether a later correction replaced or withdrew it."""
        return bool(self.entry.visit.corrected_by or self.entry.visit.void)


def visit_lines(visit: UUID, at: datetime) -> list[EntryLine]:
    """Return the visit's entries in the order done, in five queries."""
    release = catalog.catalogue_at(at)
    entries = Entry.objects.filter(visit=visit).select_related("position", "device__kind", "verdict")
    answered = _answered_outcomes(visit)
    rows = list(entries.prefetch_related("readings").order_by("number"))
    return _entry_lines(rows, release, answered)


def _entry_lines(rows: Sequence[Entry], release: Catalogue, answered: dict[str, str]) -> list[EntryLine]:
    relays = relays_of(getattr(entry, "verdict", None) for entry in rows)
    return [replace(_entry_line(entry, release, answered), relay=relays.get(entry.id)) for entry in rows]


def _entry_line(entry: Entry, release: Catalogue, answered: dict[str, str]) -> EntryLine:
    verdict = getattr(entry, "verdict", None)
    then = answered.get(str(entry.id), "")
    # The outcome in the answer is shown only where it differs from the present one.
    answered_otherwise = then if verdict is not None and then != verdict.outcome else ""
    readings = [_reading_text(r, entry, release) for r in entry.readings.all()]
    return EntryLine(
        entry,
        entry.number + 1,
        title=_entry_title(entry, release),
        readings=readings,
        verdict=verdict,
        answered=answered_otherwise,
        compared=_compared_with(verdict, entry, release),
    )


def lines_of_places(places: Iterable[UUID], at: datetime, most: int) -> dict[str, list[EntryLine]]:
    """Return the newest entries of each place up to `at`, at most `most` of each, by the place's id: three queries."""
    release = catalog.catalogue_at(at)
    newest = Window(RowNumber(), partition_by=F("position"), order_by=[F(c).desc() for c in _ORDER])
    entries = Entry.objects.filter(position__in=list(places), performed_at__lte=at).annotate(nth=newest)
    lines: dict[str, list[EntryLine]] = {}
    rows = list(_with_related(entries.filter(nth__lte=most)).order_by("nth"))  # type: ignore[misc]
    for line in _entry_lines(rows, release, {}):
        lines.setdefault(str(line.entry.position_id), []).append(line)
    return lines


def lines_of_place(place: UUID, at: datetime, most: int, before: Entry | None = None) -> list[EntryLine]:
    """Return at most `most` entries of one place up to `at`, the newest first; only those before the entry `before`."""
    release = catalog.catalogue_at(at)
    entries, newest_first = Entry.objects.filter(position=place, performed_at__lte=at), [f"-{c}" for c in _ORDER]
    if before is not None:
        entries = entries.filter(rows_after(newest_first, [getattr(before, c) for c in _ORDER]))
    ordered = entries.order_by(*newest_first)
    return _entry_lines(list(_with_related(ordered)[:most]), release, {})


_ORDER = ("performed_at", "visit_id", "number")


def _with_related(entries: QuerySet[Entry]) -> QuerySet[Entry]:
    rows = entries.select_related("position", "device__kind", "verdict", "visit__corrected_by")
    return rows.prefetch_related("readings")


# Units of graders that compare a reading with something other than its row's key; the other graders compare pressures.
_UNITS = {"clocking": "Btu/h", "lowering": "in"}


def _compared_with(verdict: Verdict | None, entry: Entry, release: Catalogue) -> str:
    procedure = release.procedures.get(entry.code)
    if verdict is None or verdict.set_value is None or procedure is None:
        return ""
    units = (spec.unit for spec in procedure.readings.values() if spec.rule and spec.rule.key)
    unit = _UNITS.get(procedure.judged_by) or next(units, "psi")
    return f"{verdict.set_value:,.10g} {unit}"


def _entry_title(entry: Entry, release: Catalogue) -> str:
    specs_by_act = {"test": release.procedures, "action": release.actions, "observe": release.observations}
    codes: Any = specs_by_act.get(entry.act, {})
    return str(codes[entry.code].name) if entry.code in codes else _ACTS.get(entry.act, entry.code)


def _reading_text(reading: Reading, entry: Entry, release: Catalogue) -> tuple[str, str, str]:
    procedure = release.procedures.get(entry.code)
    spec = procedure.readings.get(reading.name) if procedure else None
    if reading.flag is not None:
        return reading.name, "yes" if reading.flag else "no", ""
    if reading.number is not None:
        return reading.name, f"{reading.number:,.10g}", spec.unit if spec else ""
    return reading.name, reading.word.replace("_", " "), ""


def _answered_outcomes(visit: UUID) -> dict[str, str]:
    bodies = Answer.objects.filter(visit=visit).values_list("body", flat=True)
    return {v["entry"]: v["outcome"] for body in bodies for v in json.loads(body)["verdicts"]}


def findings_of(visit: UUID) -> list[Finding]:
    """Return the findings of a visit, worst class first, then in the order of entries."""
    rows = Finding.objects.filter(visit=visit).select_related("position", "entry").order_by("entry__number", "rule")
    return sorted(rows, key=lambda f: LEVELS.index(f.level))


def readiness_of(visit: UUID) -> Readiness | None:
    """Return the readiness of a visit; None for a visit that is not the end of its chain of corrections."""
    return Readiness.objects.filter(visit=visit).first()


def readiness_standing_at(visit: Visit) -> Readiness | None:
    """Return the answer that stands at a visit: its own or, if it has none, the newest before it while it is open."""
    own_answer = readiness_of(visit.id)
    if own_answer is not None or visit.void or hasattr(visit, "corrected_by"):
        return own_answer
    earlier = Readiness.objects.filter(boiler=visit.boiler_id, visit__performed_at__lt=visit.performed_at)
    newest = earlier.select_related("visit").order_by("-visit__performed_at", "-visit_id").first()
    return newest if newest and FiringAnswer(newest.answer).is_open else None


def readiness_answers(visits: Iterable[UUID]) -> dict[str, str]:
    """Return the readiness answers of several visits, by the id as text."""
    pairs = Readiness.objects.filter(visit__in=list(visits)).values_list("visit", "answer")
    return {str(visit): answer for visit, answer in pairs}


def waiting_corrections(boiler: UUID) -> set[UUID]:
    """Return the corrections of a boiler that wait for a second qualified name."""
    return set(Waiting.objects.filter(boiler=boiler, subject="correction").values_list("visit", flat=True))


def waiting_papers(boiler: UUID) -> dict[UUID, list[str]]:
    """Return what each waiting paper of a boiler lacks to end a hold or a tag, by its visit."""
    return dict(Waiting.objects.filter(boiler=boiler, subject="paper").values_list("visit", "lacks"))


def note_what_waits(boilers: QuerySet[Boiler]) -> QuerySet[Any]:
    """Return the boilers, each with `something_waits`: whether any of its visits waits for a second qualified name."""
    return boilers.annotate(something_waits=Exists(Waiting.objects.filter(boiler=OuterRef("pk"))))


def waiting_visits(boiler: UUID) -> list[Waiting]:
    """Return what waits for somebody's word at a boiler: corrections, papers and visits; the newest first."""
    rows = Waiting.objects.filter(boiler=boiler).select_related("visit__paper", "visit__posted_by")
    rows = rows.prefetch_related("visit__people__user")
    return list(rows.order_by("-visit__performed_at", "-visit_id"))


def visits_that_name(user: User) -> QuerySet[Visit]:
    """Return the visits that wait for this person's own word; nobody answers for one whose correction counts.

    Also those at boilers that the person may no longer see: whoever left is still asked whether he was there.
    """
    reach = user.reach
    if reach is not None and not reach.covers_action("visit.reply"):
        return Visit.objects.none()
    still_counts = Q(corrected_by=None) | Q(corrected_by__waiting__subject="correction", waiting__subject="names")
    named_visits = visits_to(Boiler.objects.all()).filter(still_counts, waiting__people__contains=[str(user.id)])
    return named_visits.filter(portfolio=reach.portfolio) if reach is not None and reach.portfolio else named_visits
