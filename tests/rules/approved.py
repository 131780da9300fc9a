"""Everything the rules say of the scenarios, word for word: `python -m tests.rules.approved` writes it down anew.

`approved/sentences.txt` is for people: every sentence that stands on a screen or in an answer, once. The other file,
`approved/judgements.txt`, has one line a scenario: the digest of all that is concluded, so nothing changes unseen.
"""

import hashlib
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from datetime import datetime
from enum import Enum
from pathlib import Path
from typing import Any
from uuid import UUID

from fleet.rules import judge
from fleet.rules.answers.heat import building_conditions
from fleet.rules.values import Judgement
from tests.rules.scenarios.form import Scenario, read
from tests.rules.scenarios.run import known_visits, with_visits

HERE = Path(__file__).resolve().parent
CASES = sorted((HERE / "scenarios" / "cases").glob("*.yaml"))
SENTENCES, DIGESTS = HERE / "approved" / "sentences.txt", HERE / "approved" / "judgements.txt"
TOLD = ("sentence", "question", "first_act", "then", "limit")


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


def now() -> tuple[str, str]:
    """Sentences and digests as the rules have them today."""
    said: set[str] = set()
    digests = []
    for scenario in (s for path in CASES for s in read(path)):
        found = judged(scenario)
        cold = building_conditions(UUID(int=1), "12 Larkspur Row", [found.heat])
        said |= {*sentences(found), *sentences(cold)}
        digest = hashlib.sha256(repr((plain(found), plain(cold))).encode()).hexdigest()[:16]
        digests.append(f"{digest} {Path(scenario.file).stem}: {scenario.name}")
    return "\n".join(sorted(said)) + "\n", "\n".join(digests) + "\n"


if __name__ == "__main__":
    SENTENCES.parent.mkdir(exist_ok=True)
    for path, text in zip((SENTENCES, DIGESTS), now(), strict=True):
        path.write_text(text, encoding="utf-8")
