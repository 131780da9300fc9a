"""One visit as it was stored, with its present conclusions where they differ from the answer to the post."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from fleet.assessments.models import Answer, Finding, Readiness, Verdict
from fleet.assessments.relays import Relay, relays_of
from fleet.visits.models import Entry, Visit

VERDICT_FIELDS = ("outcome", "sentence", "grade", "proves", "limit", "set_value", "source", "question")
FINDING_FIELDS = ("rule", "position", "level", "sentence", "first_act", "entries")


@dataclass(frozen=True, slots=True)
class StoredEntry:
    """One entry; `now` is its present verdict where the answer gave another one, else None."""

    entry: Entry
    readings: Mapping[str, Any]
    now: Verdict | None
    relay: Relay | None  # by present knowledge


@dataclass(frozen=True, slots=True)
class StoredVisit:
    """A visit as it was stored, and present conclusions where they differ from the answer, else None."""

    visit: Visit
    entries: Sequence[StoredEntry]
    findings_now: Sequence[Finding] | None
    readiness_now: Readiness | None

    @property
    def judged_otherwise(self) -> bool:
        """Whether the present conclusions differ from the answer."""
        return bool(self.findings_now is not None or self.readiness_now or any(e.now for e in self.entries))

    @property
    def stands(self) -> bool:
        """Whether the visit counts: it is neither corrected nor void."""
        return not hasattr(self.visit, "corrected_by") and not self.visit.void


def read_stored_visit(visit: Visit) -> StoredVisit:
    """Read a visit with entries, readings, answer, findings and readiness: five queries.

    A corrected visit has no present conclusions.
    """
    entry_rows = (
        Entry.objects.filter(visit=visit).select_related("verdict").prefetch_related("readings").order_by("number")
    )
    answer = _answer_body(visit.id)
    verdicts_by_entry = {v["entry"]: v for v in answer.get("verdicts", [])}
    relays = relays_of(getattr(e, "verdict", None) for e in entry_rows)
    entries = [
        StoredEntry(
            e,
            _reading_values(e),
            now=_changed_verdict(getattr(e, "verdict", None), verdicts_by_entry.get(str(e.id))),
            relay=relays.get(e.id),
        )
        for e in entry_rows
    ]
    findings = list(Finding.objects.filter(visit=visit).order_by("entry__number", "rule", "id"))
    readiness = Readiness.objects.filter(visit=visit).first()
    corrected = hasattr(visit, "corrected_by")
    return StoredVisit(
        visit,
        entries,
        None if corrected or _are_same_findings(findings, answer.get("findings", [])) else findings,
        None if corrected or _is_same_readiness(readiness, answer.get("readiness")) else readiness,
    )


def _answer_body(visit: UUID) -> dict[str, Any]:
    body = Answer.objects.filter(visit=visit).values_list("body", flat=True).first()
    return dict(json.loads(body)) if body else {}


def _changed_verdict(verdict: Verdict | None, answered: Mapping[str, Any] | None) -> Verdict | None:
    if verdict is None or (answered and _is_same_verdict(verdict, answered)):
        return None
    return verdict


def _is_same_verdict(verdict: Verdict, answered: Mapping[str, Any]) -> bool:
    # Answers from before the mark have none.
    is_marked_alike = verdict.relayed_from == answered.get("relayed_from", [])
    return is_marked_alike and all(getattr(verdict, name) == answered[name] for name in VERDICT_FIELDS)


def _are_same_findings(findings: Sequence[Finding], answered: Sequence[Mapping[str, Any]]) -> bool:
    now = [
        {**{n: getattr(f, n) for n in FINDING_FIELDS if n != "position"}, "position": _text_or_none(f.position_id)}
        for f in findings
    ]
    return sorted(map(_sort_key, now)) == sorted(
        _sort_key({n: finding[n] for n in FINDING_FIELDS}) for finding in answered
    )


def _sort_key(value: Mapping[str, Any]) -> str:
    return json.dumps(value, sort_keys=True)


def _is_same_readiness(readiness: Readiness | None, answered: Mapping[str, Any] | None) -> bool:
    if readiness is None or answered is None:
        return readiness is None
    return all(getattr(readiness, name) == answered[name] for name in ("answer", "missing", "not_looked_at"))


def _text_or_none(value: UUID | None) -> str | None:
    return str(value) if value else None


def _reading_values(entry: Entry) -> dict[str, Any]:
    rows = sorted(entry.readings.all(), key=lambda r: r.name)
    return {r.name: next(v for v in (r.flag, r.number, r.word) if v is not None) for r in rows}
