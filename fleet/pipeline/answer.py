"""The answer to a posted visit: verdicts, findings, deficiencies, readiness, standing before and after."""

from datetime import datetime
from typing import Any
from uuid import UUID

from fleet.pipeline.conclude import Concluded, segment_at
from fleet.portfolio.conclusions import plain
from fleet.portfolio.news import News
from fleet.rules.values import Judgement
from fleet.visits.models import Visit

CAUTION = (
    "Advice to a qualified person, never a permission. Local codes, the boiler maker's instructions and a licensed "
    "person's judgement decide."
)


def answer(visit: Visit, done: Concluded, at: datetime) -> dict[str, Any]:
    """Build the answer's body from the boiler's conclusion, as JSON values. `at` is the instant of judgement."""
    judgement = done.judgement
    numbers = {entry.id: entry.number for entry in visit.entries.all()}
    now = segment_at(judgement, at)
    return {
        "visit": str(visit.id),
        "boiler": str(visit.boiler_id),
        "judged_at": plain(at),
        "verdicts": [_verdict(plain(v), numbers[v.entry]) for v in judgement.verdicts if v.entry in numbers],
        "findings": [plain(f) for f in judgement.findings if f.visit == visit.id],
        "deficiencies": [_deficiency(n) for n in done.news if n.kind == "deficiency.changed"],
        "readiness": _readiness(judgement, visit.id),
        "standing": {
            "before": done.before or "not_surveyed",
            "after": now.standing.value,
            "reasons": plain(now.reasons),
            "then": now.then,
            "next_boundary": plain(now.until),
        },
        # A correction out of a hold has no effect until a second qualified person stands behind it.
        "waits_for_second": visit.id in judgement.waiting,
        "newer_facts_stand": judgement.anchor is not None and judgement.anchor > visit.performed_at,
        "caution": CAUTION,
    }


def _verdict(verdict: dict[str, Any], number: int) -> dict[str, Any]:
    return {"number": number, **verdict}


def _deficiency(news: News) -> dict[str, Any]:
    return {
        "id": str(news.subject),
        "rule": news.rule,
        "before": news.before or None,
        "after": news.after,
        "sentence": news.sentence,
    }


def _readiness(judgement: Judgement, visit: UUID) -> dict[str, Any] | None:
    found = next((r for r in judgement.readiness if r.visit == visit), None)
    if found is None:
        return None
    body = plain(found)
    return {key: body[key] for key in ("answer", "missing", "not_looked_at")}
