"""Storing the conclusions of the rules about visits."""

from collections.abc import Iterator
from uuid import UUID

from fleet.assessments.models import Finding, Readiness, Verdict, Waiting
from fleet.portfolio.models import Boiler
from fleet.records.difference_store import as_json, store_conclusions
from fleet.rules.values import Evidence, Judgement


def store_assessments(*, boiler: Boiler, evidence: Evidence, judgement: Judgement) -> int:
    """Make verdicts, findings and readiness of the boiler's own visits equal to the judgement; return rows written."""
    own_visits = {v.id for v in evidence.visits if v.of_this_boiler}
    entries = {e.id for v in evidence.visits if v.of_this_boiler for e in v.entries}
    scope = {"boiler_id": boiler.id, "portfolio_id": boiler.portfolio_id}
    return (
        store_conclusions(Verdict, scope=scope, key=("id",), rows=_verdict_rows(judgement, entries))
        + store_conclusions(
            Finding, scope=scope, key=("entry_id", "rule", "position_id"), rows=_finding_rows(judgement, own_visits)
        )
        + store_conclusions(Readiness, scope=scope, key=("id",), rows=_readiness_rows(judgement, own_visits))
        + store_conclusions(
            Waiting,
            scope=scope,
            key=("id",),
            rows=_waiting_rows(judgement, own_visits),
        )
    )


def _verdict_rows(judgement: Judgement, entries: set[UUID]) -> Iterator[dict[str, object]]:
    for verdict in judgement.verdicts:
        if verdict.entry in entries:
            yield {
                "id": verdict.entry,
                "entry_id": verdict.entry,
                "outcome": verdict.outcome,
                "grade": verdict.grade,
                "proves": verdict.proves,
                "limit": verdict.limit,
                "set_value": verdict.set_value,
                "source": verdict.source,
                "question": verdict.question,
                "sentence": verdict.sentence,
                "relayed_from": as_json(verdict.relayed_from),
            }


def _finding_rows(judgement: Judgement, own_visits: set[UUID]) -> Iterator[dict[str, object]]:
    for finding in judgement.findings:
        if finding.visit in own_visits:
            yield {
                "entry_id": finding.entries[0],
                "rule": finding.rule,
                "position_id": finding.position,
                "visit_id": finding.visit,
                "entries": as_json(finding.entries),
                "level": finding.level.value,
                "sentence": finding.sentence,
                "first_act": finding.first_act,
            }


def _readiness_rows(judgement: Judgement, own_visits: set[UUID]) -> Iterator[dict[str, object]]:
    for ready in judgement.readiness:
        if ready.visit in own_visits:
            yield {
                "id": ready.visit,
                "visit_id": ready.visit,
                "answer": ready.answer,
                "missing": as_json(ready.missing),
                "not_looked_at": as_json(ready.not_looked_at),
            }


def _waiting_rows(judgement: Judgement, own_visits: set[UUID]) -> Iterator[dict[str, object]]:
    names_by_visit = {names.visit: names for names in judgement.waiting_names}
    lacks_by_paper = {paper.visit: list(paper.lacks) for paper in judgement.waiting_papers}
    subjects = {
        **dict.fromkeys(names_by_visit, "names"),
        **dict.fromkeys(lacks_by_paper, "paper"),
        **dict.fromkeys(judgement.waiting, "correction"),
    }
    for visit, subject in subjects.items():
        names = names_by_visit.get(visit)
        if visit in own_visits:
            yield {
                "id": visit,
                "visit_id": visit,
                "subject": subject,
                "lacks": lacks_by_paper.get(visit, []),
                "people": as_json(names.people) if names else [],
                "counts_as": list(names.counts_as) if names else [],
            }
