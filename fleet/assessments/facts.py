"""One visit as it was stored, with its present conclusions where they differ from the answer to the post."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from fleet.assessments.models import Answer, Finding, Readiness, Verdict
from fleet.visits.models import Entry, Visit

SAID = ("outcome", "sentence", "grade", "proves", "limit", "set_value", "source", "question")
FOUND = ("rule", "position", "level", "sentence", "first_act", "entries")


@dataclass(frozen=True, slots=True)
class Kept:
    """One entry; `now` is its present verdict where the answer gave another one, else None."""

    entry: Entry
    readings: Mapping[str, Any]
    now: Verdict | None


@dataclass(frozen=True, slots=True)
class Facts:
    """A visit as it was stored, and present conclusions where they differ from the answer, else None."""

    visit: Visit
    entries: Sequence[Kept]
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


def facts(visit: Visit) -> Facts:
    """Read a visit with entries, readings, answer, findings and readiness: five queries.

    A corrected visit has no present conclusions.
    """
    found = Entry.objects.filter(visit=visit).select_related("verdict").prefetch_related("readings").order_by("number")
    told = _answer(visit.id)
    said = {v["entry"]: v for v in told.get("verdicts", [])}
    entries = [Kept(e, _readings(e), _otherwise(getattr(e, "verdict", None), said.get(str(e.id)))) for e in found]
    findings = list(Finding.objects.filter(visit=visit).order_by("entry__number", "rule", "id"))
    readiness = Readiness.objects.filter(visit=visit).first()
    corrected = hasattr(visit, "corrected_by")
    return Facts(
        visit,
        entries,
        None if corrected or _same(findings, told.get("findings", [])) else findings,
        None if corrected or _said_so(readiness, told.get("readiness")) else readiness,
    )


def _answer(visit: UUID) -> dict[str, Any]:
    body = Answer.objects.filter(visit=visit).values_list("body", flat=True).first()
    return dict(json.loads(body)) if body else {}


def _otherwise(verdict: Verdict | None, said: Mapping[str, Any] | None) -> Verdict | None:
    if verdict is None or (said and all(getattr(verdict, name) == said[name] for name in SAID)):
        return None
    return verdict


def _same(findings: Sequence[Finding], said: Sequence[Mapping[str, Any]]) -> bool:
    now = [{**{n: getattr(f, n) for n in FOUND if n != "position"}, "position": _text(f.position_id)} for f in findings]
    return sorted(map(_key, now)) == sorted(_key({n: one[n] for n in FOUND}) for one in said)


def _key(one: Mapping[str, Any]) -> str:
    return json.dumps(one, sort_keys=True)


def _said_so(readiness: Readiness | None, said: Mapping[str, Any] | None) -> bool:
    if readiness is None or said is None:
        return readiness is None
    return all(getattr(readiness, name) == said[name] for name in ("answer", "missing", "not_looked_at"))


def _text(value: UUID | None) -> str | None:
    return str(value) if value else None


def _readings(entry: Entry) -> dict[str, Any]:
    rows = sorted(entry.readings.all(), key=lambda r: r.name)
    return {r.name: next(v for v in (r.flag, r.number, r.word) if v is not None) for r in rows}
