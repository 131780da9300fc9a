"""A visit as a PDF to hand over: cautions first, as found against as left, findings, readiness, every entry.

The content goes to the typesetter as data (JSON), never as markup, so that typed text stays text.
"""

import json
import re
from collections.abc import Iterable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import typst

from fleet.assessments import queries
from fleet.assessments.found_left import Side, sides
from fleet.assessments.models import Finding
from fleet.assessments.queries import Line
from fleet.assessments.sources import spelled_out
from fleet.visits.models import Visit

FORM = Path(__file__).with_name("report.typ")
SENTENCE = re.compile(r"(?<=[.!?])\s+")
FOOT = (
    "Advice to a qualified person, never a permission. Local codes, the boiler maker's instructions and a licensed "
    "person's judgement decide."
)
ANSWERS = {"ready": "Ready", "not_ready": "Not ready", "cant_say": "Can't say"}


def pdf(visit: Visit, at: datetime) -> bytes:
    """Return the report as of `at`: the same visit at the same instant gives the same bytes."""
    given = {"told": json.dumps(told(visit, at), ensure_ascii=False)}
    made = typst.compile(
        str(FORM), format="pdf", sys_inputs=given, timestamp=int(at.timestamp()), ignore_system_fonts=True
    )
    assert isinstance(made, bytes)  # one document gives bytes, not a list of pages
    return made


def told(visit: Visit, at: datetime) -> dict[str, Any]:
    """Return everything on the report, as texts."""
    lines, findings = queries.lines(visit.id, at), queries.findings(visit.id)
    ready = queries.readiness(visit.id)
    zone = visit.boiler.building.zone
    return {
        "title": f"{_word(visit.kind)}, {_moment(visit.performed_at, zone)}",
        "boiler": f"{visit.boiler.building.address}, {visit.boiler.name}",
        "facts": list(_facts(visit, zone)),
        "notes": list(_notes(visit, queries.waiting(visit.boiler_id))),
        "cautions": _cautions(findings),
        "answer": ANSWERS.get(ready.answer, _word(ready.answer)) if ready else "",
        "missing": [m["sentence"] for m in ready.missing] if ready else [],
        "not_looked_at": [m["sentence"] for m in ready.not_looked_at] if ready else [],
        "findings": [_finding(f) for f in findings],
        "sides": [_side(s) for s in sides(lines, visit.performed_at)],
        "entries": [_entry(line) for line in lines],
        "as_of": f"As of {_moment(at, zone)}",
        "foot": FOOT,
    }


def _facts(visit: Visit, zone: str) -> Iterable[tuple[str, str]]:
    people = (p.user.get_full_name() or p.user.get_username() if p.user else p.name for p in visit.people.all())
    yield "Present", ", ".join(people)
    yield "Posted", _moment(visit.posted_at, zone)
    if visit.state_on_arrival != "unknown":
        yield "Found", _word(visit.state_on_arrival)
    if visit.left_as:
        yield "Left", _word(visit.left_as)


def _notes(visit: Visit, waiting: set[Any]) -> Iterable[str]:
    if visit.id in waiting:
        yield "This correction waits for a second qualified person: until then what it corrects counts."
    elif hasattr(visit, "corrected_by") and visit.corrected_by.id not in waiting:
        yield "This visit was corrected by a later one: nothing here counts."
    if visit.void:
        yield "This correction withdraws a whole visit: nothing of it counts."
    if visit.corrects_id:
        yield f"Corrects an earlier visit: {visit.reason}"
    if visit.note:
        yield visit.note


def _cautions(findings: Iterable[Finding]) -> list[list[str]]:
    """Return the first acts of the findings, worst first, each text once: its first sentence and the rest."""
    texts = dict.fromkeys(f.first_act.strip() for f in findings if f.first_act.strip())
    return [[first, " ".join(rest)] for first, *rest in (SENTENCE.split(text) for text in texts)]


def _finding(finding: Finding) -> dict[str, str]:
    place = _word(finding.position.name) if finding.position else "The boiler"
    at = f"entry {finding.entry.number + 1}, rule: {finding.rule.replace('_', ' ')}"
    return {"level": _word(finding.level), "place": place, "sentence": finding.sentence, "at": at}


def _side(side: Side) -> dict[str, Any]:
    found = [_short(line) for line in side.found] or ["Not tried before the work." if side.done else "Not tried."]
    done = [_short(line) for line in side.done]
    done += [f"worked on: {', '.join(side.through)}"] if side.through else []
    left = [_short(line) for line in side.left] or [side.as_left]
    return {"place": _word(side.place.name), "found": found, "done": done, "left": left}


def _short(line: Line) -> str:
    worth = line.verdict.outcome.replace("_", " ") if line.verdict else line.entry.outcome.replace("_", " ")
    measured = [f"{value} {unit}" for _, value, unit in line.readings if unit][:1]
    parts = [line.title, *([worth] if worth else []), *measured]
    return f"{', '.join(parts)} ({line.number})"


def _entry(line: Line) -> dict[str, Any]:
    verdict = line.verdict
    limit = f"Limit: {verdict.limit}." if verdict and verdict.limit else ""
    against = f"Held against {line.compared}." if line.compared else ""
    source = f"Source: {spelled_out(verdict.source)}." if verdict and verdict.source else ""
    return {
        "number": str(line.number),
        "title": line.title,
        "place": line.entry.position.name if line.entry.position else "",
        "readings": ", ".join(_readings(line)),
        "worth": _word(verdict.outcome) if verdict else "",
        "sentence": verdict.sentence if verdict else line.entry.reason,
        "by": " ".join(filter(None, (limit, against, source))),
    }


def _readings(line: Line) -> Sequence[str]:
    read = [f"{name.replace('_', ' ')} {value} {unit}".rstrip() for name, value, unit in line.readings]
    return [*read, *(f"{name.replace('_', ' ')} {value}" for name, value in line.entry.values.items())]


def _word(code: str) -> str:
    return code.replace("_", " ").capitalize()


def _moment(at: datetime, zone: str) -> str:
    return at.astimezone(ZoneInfo(zone)).strftime("%a %d %b %Y, %H:%M %Z")
