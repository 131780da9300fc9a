"""Everything the rules say of the scenarios, word for word: `python -m tests.rules.approved` writes it down anew.

`approved/sentences.txt` holds every sentence that stands on a screen or in an answer, once. `approved/judgements.txt`
has one block a scenario: what is concluded, in short, by the names and local times of its file. The digest in a
block's first line is of all that is concluded, sentences and their places too, so nothing changes unseen.
"""

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import MISSING, fields, is_dataclass
from datetime import datetime
from enum import Enum
from pathlib import Path
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from fleet.rules import judge
from fleet.rules.answers.heat import building_conditions
from fleet.rules.values import (
    Condition,
    Judgement,
    LevelSegment,
    MissingItem,
    PositionStateSegment,
    Reason,
    deficiency_id,
    paper_id,
)
from tests.rules.scenarios.form import Scenario, read
from tests.rules.scenarios.run import known_visits, with_visits

HERE = Path(__file__).resolve().parent
CASES = sorted((HERE / "scenarios" / "cases").glob("*.yaml"))
SENTENCES, JUDGEMENTS = HERE / "approved" / "sentences.txt", HERE / "approved" / "judgements.txt"
TOLD = ("sentence", "question", "first_act", "then", "limit")
UNSAID = ("source", "seasons")  # the same for every scenario of their kind; the digest holds them
BUILDING = UUID(int=1)


def judged(scenario: Scenario) -> Judgement:
    """What is concluded by all that was posted."""
    evidence = with_visits(scenario, known_visits(scenario, None))
    return judge(evidence, scenario.acts, scenario.moments[-1].at)


def plain(value: Any) -> Any:
    """A value in words that are the same in every run."""
    if is_dataclass(value):
        return [(f.name, plain(getattr(value, f.name))) for f in fields(value)]
    if isinstance(value, (tuple, list)):
        return [plain(v) for v in value]
    if isinstance(value, frozenset):
        return sorted(map(str, value))
    if isinstance(value, Enum):
        return value.value
    return str(value) if isinstance(value, (UUID, datetime)) else value


def sentences(value: Any) -> Iterator[str]:
    """Every text in a value that people read."""
    if is_dataclass(value):
        for f in fields(value):
            inner = getattr(value, f.name)
            if f.name in TOLD and inner:
                yield f"{f.name}: {inner}"
            else:
                yield from sentences(inner)
    elif isinstance(value, (tuple, list)):
        for one in value:
            yield from sentences(one)


class BlockWriter:
    """Writes what is concluded of one scenario, by the names and the local time of its file."""

    def __init__(self, scenario: Scenario) -> None:
        self.zone = ZoneInfo(scenario.evidence.zone)
        self.boiler = scenario.evidence.boiler
        self.names = {self.boiler: "boiler", BUILDING: "building"}
        self.names |= {paper_id(self.boiler, paper.kind): f"paper {paper.kind}" for paper in scenario.evidence.papers}
        self.names |= {position.id: position.ref for position in scenario.evidence.positions}
        for posted in scenario.posted:
            self.names[posted.visit.id] = posted.name
            for number, entry in enumerate(posted.visit.entries, start=1):
                self.names[entry.id] = f"{posted.name}/{number}"

    def write_lines(self, found: Judgement, cold: Sequence[Condition]) -> Iterator[str]:
        """A line for each position, each kind of alert, each visit's readiness, and each other conclusion."""
        for d in found.deficiencies:
            self.names[deficiency_id(self.boiler, d.position, d.rule, d.episode)] = (
                f"{d.rule}@{self.write_value(d.position)}"
            )
        for standing in found.standings:
            yield f"{self._write_since(standing.since)}{standing.standing.value}: {self.write_value(standing.reasons)}"
        yield from self._write_by_key("state of ", ((s.position, self._write_state(s)) for s in found.states))
        for verdict in found.verdicts:
            yield f"verdict {self.write_value(verdict)}"
        for finding in found.findings:
            yield f"finding {self.write_value(finding)}"
        for deficiency in found.deficiencies:
            yield f"deficiency {self.write_value(deficiency)}"
        for answer in found.readiness:
            lists = (answer.missing, answer.not_looked_at)
            missing, unseen = (" ".join(map(self._write_item, items)) or "none" for items in lists)
            yield f"after {self.write_value(answer.visit)} {answer.answer}; missing: {missing}; not looked at: {unseen}"
        yield from self._write_by_key("", ((c.condition, self._write_condition(c)) for c in (*found.conditions, *cold)))
        for kind in ("waiting", "surveyed_at", "glass", "heat"):
            yield f"{kind} {self.write_value(getattr(found, kind))}"
        for names in found.waiting_names:
            yield f"names wait {self.write_value(names)}"
        for paper in found.waiting_papers:
            yield f"paper waits {self.write_value(paper)}"

    def write_value(self, value: Any) -> str:
        """A value in short: no sentences, and no fields that say nothing."""
        if isinstance(value, Reason):
            place, entry = f"@{self.write_value(value.position)}", f" by {self.write_value(value.entry)}"
            return value.rule + (place if value.position else "") + (entry if value.entry else "")
        if isinstance(value, LevelSegment):
            return f"{self._write_since(value.since)}{value.level.value}"
        if is_dataclass(value):
            return " ".join(self._write_fields(value))
        if isinstance(value, (tuple, list)):
            return ", ".join(map(self.write_value, value)) or "none"
        if isinstance(value, datetime):
            local = value.astimezone(self.zone)
            text = f"{local:%Y-%m-%d %H:%M:%S}".removesuffix(":00").removesuffix(" 00:00")
            return text + (" (the second time)" if local.fold else "")
        if value is None:
            return "none"
        if isinstance(value, UUID):
            return self.names.get(value, str(value))
        return str(value.value if isinstance(value, Enum) else value)

    def _write_since(self, at: datetime | None) -> str:
        return f"from {self.write_value(at)} " if at else ""

    def _write_by_key(self, kind: str, pairs: Iterable[tuple[Any, str]]) -> Iterator[str]:
        grouped: dict[str, list[str]] = {}
        for key, text in pairs:
            grouped.setdefault(self.write_value(key), []).append(text)
        yield from (f"{kind}{key}: {'; '.join(texts)}" for key, texts in grouped.items())

    def _write_state(self, state: PositionStateSegment) -> str:
        reason = "" if state.reason.rule == state.state.value else f" for {self.write_value(state.reason)}"
        marks = f" ({self.write_value(state.marks)})" if state.marks else ""
        due = f", due {self.write_value(state.full_due)}" if state.full_due else ""
        return f"{self._write_since(state.since)}{state.state.value}{marks}{reason}{due}"

    def _write_condition(self, held: Condition) -> str:
        until = f" to {self.write_value(held.until)}" if held.until else ""
        lines = f" with {len(held.lines)} lines" if held.lines else ""
        return (
            f"{self.write_value(held.subject)} {self._write_since(held.since)[5:-1]}{until} {held.level.value}{lines}"
        )

    def _write_item(self, item: MissingItem) -> str:
        return item.what.removeprefix("leaving:") + (f"@{self.write_value(item.position)}" if item.position else "")

    def _write_fields(self, value: Any) -> Iterator[str]:
        for f in fields(value):
            inner = getattr(value, f.name)
            unsaid = f.name in TOLD or f.name in UNSAID or inner is None
            if not unsaid and (f.default is MISSING or inner != f.default):
                yield f"{f.name}={self.write_value(inner)}"


def write_block(scenario: Scenario, found: Judgement, cold: Sequence[Condition]) -> str:
    """What is concluded of one scenario, under its name."""
    digest = hashlib.sha256(repr((plain(found), plain(cold))).encode()).hexdigest()[:16]
    heading = f"{Path(scenario.file).stem}: {scenario.name} [{digest}]"
    lines = (f"  {line}" for line in BlockWriter(scenario).write_lines(found, cold))
    return "\n".join([heading, *lines]) + "\n"


def now() -> tuple[str, str]:
    """Sentences and judgements as the rules have them today."""
    said: set[str] = set()
    blocks = []
    for scenario in (s for path in CASES for s in read(path)):
        found = judged(scenario)
        cold = building_conditions(BUILDING, "12 Larkspur Row", [found.heat])
        said |= {*sentences(found), *sentences(cold)}
        blocks.append(write_block(scenario, found, cold))
    return "\n".join(sorted(said)) + "\n", "\n".join(blocks)


if __name__ == "__main__":
    SENTENCES.parent.mkdir(exist_ok=True)
    for path, text in zip((SENTENCES, JUDGEMENTS), now(), strict=True):
        path.write_text(text, encoding="utf-8")
