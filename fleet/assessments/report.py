"""A visit as a PDF to hand over: cautions first, as found against as left, findings, answer, every entry.

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

from fleet.assessments import named_words, queries
from fleet.assessments.found_left import VisitSide, visit_sides
from fleet.assessments.models import Finding, Readiness
from fleet.assessments.queries import EntryLine
from fleet.assessments.reading_names import reading_name
from fleet.assessments.sources import spelled_out
from fleet.rules.values import FiringAnswer
from fleet.rules.wording import ADVICE_CAUTION
from fleet.sheets.change_sentences import key_in_words, value_in_words
from fleet.visits.models import Visit

TEMPLATE_PATH = Path(__file__).with_name("report.typ")
AGAINST_TITLE = "What stands against it"
SENTENCE_BREAK = re.compile(r"(?<=[.!?])\s+")


def render_pdf(visit: Visit, at: datetime) -> bytes:
    """Return the report as of `at`: the same visit at the same instant gives the same bytes."""
    inputs = {"told": json.dumps(report_data(visit, at), ensure_ascii=False)}
    content = typst.compile(
        str(TEMPLATE_PATH), format="pdf", sys_inputs=inputs, timestamp=int(at.timestamp()), ignore_system_fonts=True
    )
    assert isinstance(content, bytes)  # one document gives bytes, not a list of pages
    return content


def report_data(visit: Visit, at: datetime) -> dict[str, Any]:
    """Return everything on the report, as texts."""
    lines, findings = queries.visit_lines(visit.id, at), queries.findings_of(visit.id)
    ready = queries.readiness_standing_at(visit)
    zone = visit.boiler.building.zone
    return {
        "title": f"{_in_words(visit.kind)}, {_moment_in_words(visit.performed_at, zone)}",
        "boiler": f"{visit.boiler.building.address}, {visit.boiler.name}",
        "facts": list(_visit_facts(visit, zone)),
        "notes": [
            *_paper_notes(visit),
            *named_words.naming_notes(visit),
            *_visit_notes(visit, queries.waiting_corrections(visit.boiler_id)),
        ],
        "cautions": _caution_texts(findings),
        "answer": _in_words(ready.answer) if ready else "",
        "answered_by": _answered_by(visit, ready, zone),
        "missing_title": "What is not known" if ready and ready.answer == FiringAnswer.NOT_EXAMINED else AGAINST_TITLE,
        "missing": [m["sentence"] for m in ready.missing] if ready else [],
        "not_looked_at": [m["sentence"] for m in ready.not_looked_at] if ready else [],
        "findings": [_finding_json(f) for f in findings],
        # A paper does not say how a device was found and left.
        "sides": [] if hasattr(visit, "paper") else [_side_json(s) for s in visit_sides(lines, visit.performed_at)],
        "entries": [_entry_json(line) for line in lines],
        "as_of": f"As of {_moment_in_words(at, zone)}",
        "foot": ADVICE_CAUTION,
    }


def _answered_by(visit: Visit, ready: Readiness | None, zone: str) -> str:
    """Return the sentence about an older answer that still stands, "" where the visit answers by itself."""
    if ready is None or ready.visit_id == visit.id:
        return ""
    older = f"{ready.visit.kind.replace('_', ' ')}, {_moment_in_words(ready.visit.performed_at, zone)}"
    return f"This visit did not have the boiler in hand. The answer of {older}, still stands."


def _visit_facts(visit: Visit, zone: str) -> Iterable[tuple[str, str]]:
    paper = getattr(visit, "paper", None)
    people = ", ".join(person.display_name for person in visit.people.all())
    yield ("Named with it" if paper else "Present"), people
    if paper:
        yield "Paper of", f"{paper.name} ({paper.body.replace('_', ' ')})"
        yield "Number", paper.number
        yield "Dated", f"{paper.dated_on:%a %d %b %Y}"
        yield "File", f"{paper.file_name}, SHA-256 {paper.file_sha256}"
    yield "Posted", _moment_in_words(visit.posted_at, zone)
    if visit.state_on_arrival != "unknown":
        yield "Found", _in_words(visit.state_on_arrival)
    if visit.left_as:
        yield "Left", _in_words(visit.left_as)
    yield "What was posted", f"SHA-256 {visit.digest}, to be compared at /api/v1/visits/{visit.id}/facts/"


def _paper_notes(visit: Visit) -> Iterable[str]:
    lacks = queries.waiting_papers(visit.boiler_id).get(visit.id) if hasattr(visit, "paper") else None
    if lacks:
        yield " ".join(("This paper would end a hold or a tag, and does not yet.", *lacks))


def _visit_notes(visit: Visit, waiting: set[Any]) -> Iterable[str]:
    if visit.id in waiting:
        yield "This correction waits for a second qualified person. Until then, what it corrects still counts."
    elif hasattr(visit, "corrected_by") and visit.corrected_by.id not in waiting:
        yield "This visit was corrected by a later one: nothing here counts."
    if visit.void:
        yield "This correction withdraws a whole visit: nothing of it counts."
    if visit.corrects_id:
        yield f"Corrects an earlier visit: {visit.reason}"
    if visit.note:
        yield visit.note


def _caution_texts(findings: Iterable[Finding]) -> list[list[str]]:
    """Return the first acts of the findings, worst first, each text once: its first sentence and the rest."""
    texts = dict.fromkeys(f.first_act.strip() for f in findings if f.first_act.strip())
    return [[first, " ".join(rest)] for first, *rest in (SENTENCE_BREAK.split(text) for text in texts)]


def _finding_json(finding: Finding) -> dict[str, str]:
    place = _in_words(finding.position.name) if finding.position else "The boiler"
    at = f"entry {finding.entry.number + 1}, rule: {finding.rule.replace('_', ' ')}"
    return {"level": _in_words(finding.level), "place": place, "sentence": finding.sentence, "at": at}


def _side_json(side: VisitSide) -> dict[str, object]:
    found_texts = [_short_line(line) for line in side.found_lines] or [
        "Not tried before the work." if side.done_lines else "Not tried."
    ]
    done_texts = [_short_line(line) for line in side.done_lines]
    done_texts += [f"worked on: {', '.join(side.through)}"] if side.through else []
    left_texts = [_short_line(line) for line in side.left_lines] or [side.as_left]
    return {"place": _in_words(side.place.name), "found": found_texts, "done": done_texts, "left": left_texts}


def _short_line(line: EntryLine) -> str:
    worth = line.verdict.outcome.replace("_", " ") if line.verdict else line.entry.outcome.replace("_", " ")
    measured = [f"{value} {unit}" for _, value, unit in line.readings if unit][:1]
    parts = [line.title, *([worth] if worth else []), *measured]
    return f"{', '.join(parts)} ({line.number})"


def _entry_json(line: EntryLine) -> dict[str, object]:
    verdict = line.verdict
    limit = f"Limit: {verdict.limit}." if verdict and verdict.limit else ""
    against = f"Compared with {line.compared}." if line.compared else ""
    source = f"Source: {spelled_out(verdict.source)}." if verdict and verdict.source else ""
    return {
        "number": str(line.number),
        "title": line.title,
        "place": line.entry.position.name if line.entry.position else "",
        "readings": "; ".join(_reading_texts(line)),
        "worth": _in_words(verdict.outcome) if verdict else "",
        "sentence": _sentence_of(line),
        "by": " ".join(filter(None, (limit, against, source))),
    }


def _sentence_of(line: EntryLine) -> str:
    sentence = line.verdict.sentence if line.verdict else line.entry.reason
    return f"{sentence} {line.relay}" if line.relay else sentence


def _reading_texts(line: EntryLine) -> Sequence[str]:
    read = [f"{reading_name(name)}: {value} {unit}".rstrip() for name, value, unit in line.readings]
    return [
        *read,
        *(f"{key_in_words(key).lower()}: {value_in_words(key, value)}" for key, value in line.entry.values.items()),
    ]


def _in_words(code: str) -> str:
    return code.replace("_", " ").capitalize()


def _moment_in_words(at: datetime, zone: str) -> str:
    return at.astimezone(ZoneInfo(zone)).strftime("%a %d %b %Y, %H:%M %Z")
