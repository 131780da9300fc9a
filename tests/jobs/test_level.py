"""The class of a job is the worst of what it asks, as it was asked or as it stands now."""

from datetime import datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

import pytest

from fleet.deficiencies.models import Deficiency
from fleet.jobs.course import level_at
from fleet.jobs.evidence import JobEvidence, level_segments
from fleet.jobs.models import Item
from tests.cast import DAY, NOW

SECOND = timedelta(seconds=1)
RISES = [
    {"level": "urgent", "since": (NOW - DAY).isoformat(), "until": NOW.isoformat()},
    {"level": "hold", "since": NOW.isoformat(), "until": None},
]


def found(**values: Any) -> Deficiency:
    return Deficiency(id=uuid4(), opened_at=NOW - DAY, levels=RISES, **values)


def asked(row: Deficiency | None, as_asked: str) -> Item:
    return Item(id=uuid4(), deficiency_id=row.id if row else None, level=as_asked)


def known(*rows: Deficiency) -> JobEvidence:
    by_id: dict[UUID, Deficiency] = {row.id: row for row in rows}
    return JobEvidence(None, by_id, (), ())  # type: ignore[arg-type]


def level(items: list[Item], told: JobEvidence, at: datetime) -> str:
    return level_at(level_segments(items, told, NOW - DAY), at).value


@pytest.mark.parametrize(("at", "expected"), [(NOW - SECOND, "urgent"), (NOW, "hold"), (NOW + SECOND, "hold")])
def test_it_rises_with_its_deficiency_in_the_same_second(at: Any, expected: str) -> None:
    row = found()
    assert level([asked(row, "urgent"), asked(None, "routine")], known(row), at) == expected


@pytest.mark.parametrize("over", [{"closed_at": NOW}, {"withdrawn": True}])
def test_what_is_over_makes_it_no_worse(over: dict[str, Any]) -> None:
    row = found(**over)
    assert level([asked(row, "routine")], known(row), NOW) == "routine"


def test_it_follows_the_one_that_swallowed_its_own() -> None:
    whole = found()
    row = Deficiency(id=uuid4(), opened_at=NOW, levels=[], withdrawn=True, merged_into_id=whole.id)
    assert level([asked(row, "routine")], known(row, whole), NOW) == "hold"


def test_it_is_never_less_than_what_was_asked() -> None:
    assert level([asked(None, "urgent"), asked(found(closed_at=NOW), "routine")], known(), NOW) == "urgent"
