"""The answer to a posted visit: verdicts, findings, deficiencies, what stands against firing, standing."""

import json
from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from django.db.models import prefetch_related_objects

from fleet.assessments.models import Answer
from fleet.pipeline.conclude import BoilerConclusion
from fleet.records.difference_store import as_json
from fleet.records.events import ChangeEvent
from fleet.rules.values import Judgement
from fleet.rules.wording import ADVICE_CAUTION
from fleet.visits.models import Visit
from fleet.visits.services import ROWS_PER_STATEMENT


def store_answers(visits: Sequence[Visit], conclusions: Sequence[BoilerConclusion], at: datetime) -> None:
    """Store word for word what the poster of each visit is answered, in the form it will be sent again."""
    by_boiler = {conclusion.boiler.id: conclusion for conclusion in conclusions}
    prefetch_related_objects(list(visits), "entries")
    answers = [
        Answer(
            id=visit.id,
            portfolio_id=visit.portfolio_id,
            visit=visit,
            body=json.dumps(build_answer(visit, by_boiler[visit.boiler_id], at)),
            answered_at=at,
        )
        for visit in visits
    ]
    Answer.objects.bulk_create(answers, batch_size=ROWS_PER_STATEMENT)


def build_answer(visit: Visit, conclusion: BoilerConclusion, at: datetime) -> dict[str, object]:
    """Build the answer's body from the boiler's conclusion, as JSON values. `at` is the instant of judgement."""
    judgement = conclusion.judgement
    numbers = {entry.id: entry.number for entry in visit.entries.all()}
    segment = judgement.standing_at(at)
    names = next((n for n in judgement.waiting_names if n.visit == visit.id), None)
    lacks = [sentence for paper in judgement.waiting_papers if paper.visit == visit.id for sentence in paper.lacks]
    return {
        "visit": str(visit.id),
        "boiler": str(visit.boiler_id),
        "judged_at": as_json(at),
        "verdicts": [_verdict_json(as_json(v), numbers[v.entry]) for v in judgement.verdicts if v.entry in numbers],
        "findings": [as_json(f) for f in judgement.findings if f.visit == visit.id],
        "deficiencies": [_deficiency_json(n) for n in conclusion.events if n.kind == "deficiency.changed"],
        "readiness": _readiness_json(judgement, visit.id),
        "older_readiness": _older_readiness_json(conclusion, visit),
        "standing": {
            "before": conclusion.before or "not_surveyed",
            "after": segment.standing.value,
            "reasons": as_json(segment.reasons),
            "then": segment.then,
            "next_boundary": as_json(segment.until),
        },
        # Until a second qualified person stands behind them, a correction out of a hold has no effect, and no paper
        # ends a hold.
        "waits_for_second": visit.id in judgement.waiting or bool(lacks),
        "paper_lacks": lacks,
        "waits_for_people": _people_json(visit, names.people) if names else [],
        "counts_as": list(names.counts_as) if names else None,
        "newer_facts_stand": judgement.anchor is not None and judgement.anchor > visit.performed_at,
        "caution": ADVICE_CAUTION,
    }


def _people_json(visit: Visit, people: Sequence[UUID]) -> list[dict[str, object]]:
    """Return who is named and asked to second the visit; until then it counts as `counts_as` says."""
    attendances = visit.people.filter(user__in=people).select_related("user").order_by("user__username")
    return [{"user": str(row.user_id), "name": row.user.get_username()} for row in attendances if row.user]


def _verdict_json(verdict: dict[str, object], number: int) -> dict[str, object]:
    return {"number": number, **verdict}


def _deficiency_json(event: ChangeEvent) -> dict[str, object]:
    return {
        "id": str(event.subject),
        "rule": event.rule,
        "before": event.before or None,
        "after": event.after,
        "sentence": event.sentence,
    }


def _readiness_json(judgement: Judgement, visit: UUID) -> dict[str, object] | None:
    readiness = next((r for r in judgement.readiness if r.visit == visit), None)
    if readiness is None:
        return None
    body = as_json(readiness)
    return {key: body[key] for key in ("answer", "missing", "not_looked_at")}


def _older_readiness_json(conclusion: BoilerConclusion, visit: Visit) -> dict[str, object] | None:
    """Return what `assessments.queries.readiness_standing_at` finds for a visit without an answer of its own."""
    readiness_answers = conclusion.judgement.readiness
    if visit.void or any(r.visit == visit.id for r in readiness_answers):
        return None
    earlier = [r for r in readiness_answers if r.at < visit.performed_at]
    if not earlier or not earlier[-1].answer.is_open:
        return None
    body = as_json(earlier[-1])
    return {key: body[key] for key in ("visit", "answer", "missing", "not_looked_at")}
