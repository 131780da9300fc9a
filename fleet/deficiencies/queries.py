"""Reading deficiencies: what is open on a boiler, its class, and what to do first."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import F

from fleet.catalog import queries as catalog
from fleet.deficiencies.life import DeficiencyLife, acts_by_episode, episodes_of_rows, level_at, life_at
from fleet.deficiencies.models import Deficiency, DeficiencyAct
from fleet.rules.catalogue import Catalogue
from fleet.rules.finding_codes import ends_by_word_alone
from fleet.rules.values import LEVELS
from fleet.rules.vocabulary import EntryAct


@dataclass(frozen=True, slots=True)
class OpenDeficiency:
    """One open deficiency at an instant; `clears_by` has the names of the procedures that close it."""

    row: Deficiency
    level: str
    first_act: str
    clears_by: list[str]
    life: DeficiencyLife


@dataclass(frozen=True, slots=True)
class DeficiencyDetail:
    """One deficiency with its status and all acts about it, the oldest first."""

    row: Deficiency
    life: DeficiencyLife
    acts: list[DeficiencyAct]


def deficiency_detail(row: Deficiency, at: datetime) -> DeficiencyDetail:
    """Return the deficiency at `at`. The acts of a merged one belong to the one it was merged into."""
    episodes = episodes_of_rows(Deficiency.objects.filter(boiler=row.boiler_id))
    about = DeficiencyAct.objects.filter(deficiency__boiler=row.boiler_id).select_related(
        "deficiency", "by", "assignee"
    )
    acts = acts_by_episode(about.order_by("at", "acted_on", "id"), episodes).get(row.id, [])
    return DeficiencyDetail(row, life_at(row, acts, at), acts)


def advice_for(row: Deficiency, at: datetime) -> tuple[str, list[str]]:
    """What to do first, and the procedures that close it, in words: where none is named, the test that found it."""
    release = catalog.catalogue_at(at)
    opened = _open_deficiency(row, release, [], at)
    by_test = row.opened_by is not None and row.opened_by.act == EntryAct.TEST
    if ends_by_word_alone(row.rule, row.position_id):
        return opened.first_act, []
    found_by = release.procedures.get(row.opened_by.code) if row.opened_by and by_test else None
    return opened.first_act, opened.clears_by or ([found_by.name.lower()] if found_by else [])


def open_deficiencies(boiler: UUID, at: datetime) -> list[OpenDeficiency]:
    """Return what is open on one boiler at `at`, worst class first, then the oldest."""
    rows = Deficiency.objects.filter(boiler=boiler, closed_at=None, withdrawn=False, opened_at__lte=at)
    listed = list(rows.select_related("position", "opened_by").order_by("opened_at", "rule"))
    if not listed:
        return []
    release = catalog.catalogue_at(at)
    about = DeficiencyAct.objects.filter(deficiency__boiler=boiler).select_related("deficiency", "by", "assignee")
    acts = acts_by_episode(about.order_by("at", "acted_on", "id"), episodes_of_rows(listed))
    opened = [_open_deficiency(row, release, acts.get(row.id, []), at) for row in listed]
    return sorted(opened, key=lambda o: LEVELS.index(o.level))


def _open_deficiency(row: Deficiency, release: Catalogue, acts: list[DeficiencyAct], at: datetime) -> OpenDeficiency:
    rule = release.findings.get(row.rule)
    closing = release.closing_procedures(row.clears_by, row.position.role_id if row.position else None)
    names = [procedure.name.lower() for procedure in closing]
    return OpenDeficiency(
        row, level_at(row, at), first_act=rule.first_act if rule else "", clears_by=names, life=life_at(row, acts, at)
    )


def closing_lines(rows: Iterable[UUID]) -> list[tuple[UUID, UUID, int]]:
    """Return the deficiency, visit and line (from 1) of the entry that closed it, for those closed by an entry."""
    closed = Deficiency.objects.filter(id__in=list(rows), closed_by__isnull=False)
    return list(closed.values_list("id", "closed_by__visit", F("closed_by__number") + 1))
