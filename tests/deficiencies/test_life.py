"""What acts come to: by the class now and the episodes now, without a database."""

from datetime import datetime, timedelta
from uuid import UUID, uuid4

import pytest

from fleet.deficiencies.life import Episode, acts_by_episode, deferral_end, find_episode, life_at
from fleet.deficiencies.models import Deficiency, DeficiencyAct
from fleet.records.difference_store import as_json
from tests.cast import DAY, NOW

SECOND = timedelta(seconds=1)
RISES = NOW + 3 * DAY
RULE = "make_up_rising"


def deficiency(**more: object) -> Deficiency:
    """Routine, and urgent three days from now if nobody does anything."""
    levels = [
        {"since": as_json(NOW - 9 * DAY), "until": as_json(RISES), "level": "routine"},
        {"since": as_json(RISES), "until": None, "level": "urgent"},
    ]
    return Deficiency(**{"opened_at": NOW - 9 * DAY, "levels": levels, "rule": RULE, **more})


def act(kind: str, at: datetime = NOW, **more: object) -> DeficiencyAct:
    about = more.pop("deficiency", None) or deficiency()
    return DeficiencyAct(**{"kind": kind, "at": at, "level": "routine", "acted_on": 1, "deficiency": about, **more})


@pytest.mark.parametrize(("at", "deferred"), [(RISES - SECOND, True), (RISES, False), (RISES + SECOND, False)])
def test_a_deferral_ends_by_itself_when_the_class_rises(at: datetime, deferred: bool) -> None:
    found = life_at(deficiency(), [act("deferred", until=NOW + 9 * DAY)], at)
    assert (found.deferred is not None) == deferred
    assert found.level == ("routine" if deferred else "urgent")


def test_a_deferral_of_what_was_urgent_already_runs_to_its_end() -> None:
    later = act("deferred", RISES + DAY, until=RISES + 5 * DAY, level="urgent")
    assert deferral_end(later, deficiency()) == RISES + 5 * DAY


def test_the_newest_deferral_counts() -> None:
    acts = [act("deferred", until=NOW + DAY), act("deferred", NOW + SECOND, until=NOW + 2 * DAY, acted_on=2)]
    assert life_at(deficiency(), acts, NOW + DAY).deferred_until == NOW + 2 * DAY


def test_a_deferral_ends_when_it_is_closed() -> None:
    assert deferral_end(act("deferred", until=NOW + 9 * DAY), deficiency(closed_at=NOW + DAY)) == NOW + DAY


@pytest.mark.parametrize(
    ("row", "acts", "status"),
    [
        ({}, [], "open"),
        ({}, [act("assigned")], "assigned"),
        ({}, [act("assigned"), act("repair_reported", done_at=NOW)], "repaired"),
        ({}, [act("repair_reported", done_at=NOW - 10 * DAY)], "open"),
        ({"found_at": NOW - DAY}, [act("assigned"), act("repair_reported", done_at=NOW - 2 * DAY)], "assigned"),
        ({"found_at": NOW}, [act("repair_reported", done_at=NOW)], "repaired"),
        ({"repaired_at": NOW}, [act("assigned")], "repaired"),
        ({"closed_at": NOW}, [act("assigned")], "closed"),
        ({"withdrawn": True}, [act("assigned")], "withdrawn"),
        ({"withdrawn": True, "merged_into_id": uuid4()}, [act("assigned")], "merged"),
        ({}, [act("assigned", NOW + SECOND)], "open"),
    ],
)
def test_the_status_by_row_and_acts(row: dict[str, object], acts: list[DeficiencyAct], status: str) -> None:
    assert life_at(deficiency(**row), acts, NOW).status == status


def test_what_was_put_right_in_the_same_breath_has_no_class() -> None:
    row = deficiency(levels=[], closed_at=NOW)
    assert (life_at(row, [], NOW).level, life_at(row, [], NOW).status) == ("", "closed")


def episode(opened_at: datetime, closed_at: datetime | None, made: UUID | None = None) -> Episode:
    return Episode(made or uuid4(), None, RULE, opened_at, closed_at)


@pytest.mark.parametrize(
    ("at", "found"),
    [(NOW - SECOND, None), (NOW, 0), (NOW + DAY - SECOND, 0), (NOW + DAY, None), (NOW + 2 * DAY, 1)],
)
def test_an_instant_lies_in_the_episode_that_was_open_then(at: datetime, found: int | None) -> None:
    episodes = [episode(NOW, NOW + DAY), episode(NOW + 2 * DAY, None)]
    assert find_episode(RULE, None, at, episodes) == (None if found is None else episodes[found].id)


def test_an_act_follows_its_episode_when_late_evidence_numbers_it_anew() -> None:
    first, second = episode(NOW - 9 * DAY, NOW - 8 * DAY), episode(NOW - DAY, None)
    about = act("assigned", deficiency=deficiency(id=first.id), episode_at=NOW - DAY)
    assert acts_by_episode([about], [first, second]) == {second.id: [about]}


def test_an_act_whose_episode_is_gone_stays_where_it_was_recorded() -> None:
    row = deficiency(id=uuid4())
    about = act("assigned", deficiency=row, episode_at=NOW)
    assert acts_by_episode([about], [episode(NOW + DAY, None)]) == {row.id: [about]}
