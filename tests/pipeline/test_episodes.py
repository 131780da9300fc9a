"""Late evidence joins, splits, renumbers and withdraws episodes; the rows say so, and no act is lost or misplaced."""

from dataclasses import replace
from datetime import datetime, timedelta
from uuid import UUID, uuid4

import pytest

from fleet import pipeline
from fleet.board.models import Change
from fleet.deficiencies.models import Deficiency, DeficiencyAct
from fleet.visits.incoming import IncomingVisit
from tests.cast import DAY, NOW, Fleet, conclusions
from tests.deficiencies.people import DEFER, REPORT, Desk, desk, dirty, told
from tests.stories import story

pytestmark = pytest.mark.django_db

FIRST, REPAIRED, SECOND = NOW - 20 * DAY, NOW - 15 * DAY, NOW - 10 * DAY


@story
def failed_twice(fleet: Fleet) -> None:
    """Two episodes of one rule at one place: failed, repaired and proven, failed again."""
    fleet.post(fleet.serviced(NOW - 60 * DAY))
    fleet.post(fleet.flushed(FIRST, burner_stopped=False))
    fleet.post(fleet.repaired(REPAIRED))
    fleet.post(fleet.flushed(SECOND, burner_stopped=False))


@pytest.fixture
def office(failed_twice: Fleet) -> Desk:
    return desk(failed_twice)


def episode(number: int) -> Deficiency:
    return Deficiency.objects.get(rule="flush_keeps_firing", episode=number)


def correction(old: IncomingVisit, **more: object) -> IncomingVisit:
    """A visit in the place of another."""
    return replace(old, id=uuid4(), corrects=old.id, reason="wrong boiler", **more)  # type: ignore[arg-type]


def void(old: IncomingVisit) -> IncomingVisit:
    return correction(old, void=True, entries=())


def restored(made: IncomingVisit, old: IncomingVisit) -> IncomingVisit:
    """What the void correction took away, told again."""
    return replace(old, id=uuid4(), corrects=made.id, reason="it was this boiler after all")


def join(office: Desk) -> IncomingVisit:
    """The repair never was: the second failure lies within the first episode."""
    made = void(office.fleet.repaired(REPAIRED))
    office.fleet.post(made)
    return made


def moments_of(row: Deficiency) -> list[tuple[str, str, datetime]]:
    """Every change of its status in order: from what, to what, and when."""
    changes = Change.objects.filter(kind="deficiency.changed", subject=row.id).order_by("version", "number")
    return list(changes.values_list("before", "after", "at"))


def test_an_event_never_repeats_the_time_of_a_first_opening(office: Desk) -> None:
    first, second = episode(1), episode(2)
    later = NOW + DAY
    office.fleet.post(void(office.fleet.repaired(REPAIRED)), at=later)
    assert moments_of(first) == [("", "open", FIRST), ("open", "closed", REPAIRED), ("closed", "open", later)]
    assert moments_of(second) == [("", "open", SECOND), ("open", "merged", later)]


def test_a_fault_found_again_after_its_repair_was_reported_is_open_from_then(office: Desk) -> None:
    row, again = episode(2), NOW + 3 * DAY
    office.act(row, REPORT)
    assert told(row).life.status == "repaired"
    office.fleet.post(office.fleet.flushed(again, burner_stopped=False), at=again)
    assert moments_of(row)[-1] == ("repaired", "open", again)


def about(row: Deficiency) -> set[UUID]:
    return {a.id for a in told(row).acts}


def test_the_swallowed_row_says_which_one_it_is_part_of(office: Desk) -> None:
    join(office)
    first, second = episode(1), episode(2)
    assert first.status == "open"
    assert second.status == "merged"
    assert second.merged_into_id == first.id


def test_its_acts_are_shown_with_the_survivor(office: Desk) -> None:
    office.act(episode(2), office.assigned())
    join(office)
    act = DeficiencyAct.objects.get()
    assert (about(episode(1)), about(episode(2))) == ({act.id}, set())
    assert told(episode(1)).life.status == "assigned"


def test_they_are_handed_to_the_rules_under_the_survivor(office: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    from fleet.pipeline import conclude

    office.act(episode(2), office.assigned())
    seen, real = [], conclude.judge
    monkeypatch.setattr(conclude, "judge", lambda e, acts, **how: seen.append(acts) or real(e, acts=acts, **how))
    join(office)
    assert [[a.subject for a in acts] for acts in seen] == [[episode(2).id], [episode(1).id]]
    pipeline.rebuild(at=NOW)
    assert [a.subject for acts in seen[2:] for a in acts] == [episode(1).id]


def test_what_was_swallowed_is_decided_on_no_more_and_says_where(office: Desk) -> None:
    from fleet.errors import Refused

    join(office)
    with pytest.raises(Refused, match=str(episode(1).id)):
        office.act(episode(2), office.assigned())


def test_a_correction_that_takes_the_joint_away_splits_them_again(office: Desk) -> None:
    office.act(episode(2), office.assigned())
    made = join(office)
    office.fleet.post(restored(made, office.fleet.repaired(REPAIRED)))
    first, second = episode(1), episode(2)
    assert [(r.status, r.merged_into_id) for r in (first, second)] == [("closed", None), ("open", None)]
    assert (about(first), told(second).life.status) == (set(), "assigned")


@pytest.mark.parametrize("steps", [0, 1, 2])
def test_a_rebuild_writes_nothing_after_join_and_split(office: Desk, steps: int) -> None:
    office.act(episode(2), office.assigned())
    if steps > 0:
        made = join(office)
    if steps > 1:
        office.fleet.post(restored(made, office.fleet.repaired(REPAIRED)))
    assert pipeline.rebuild(at=NOW) == 0


def test_join_and_split_leave_the_same_conclusions_as_if_nothing_had_been(office: Desk) -> None:
    boiler = office.fleet.bench().boiler.id
    before = {k: len(v) for k, v in conclusions(boiler).items()}
    made = join(office)
    office.fleet.post(restored(made, office.fleet.repaired(REPAIRED)))
    assert {k: len(v) for k, v in conclusions(boiler).items()} == before


def test_the_feed_tells_the_merging_and_the_parting(office: Desk) -> None:
    made = join(office)
    office.fleet.post(restored(made, office.fleet.repaired(REPAIRED)))
    told_of = Change.objects.filter(subject=episode(2).id, kind="deficiency.changed").order_by("version")
    assert list(told_of.values_list("before", "after")) == [("", "open"), ("open", "merged"), ("merged", "open")]


def test_an_earlier_episode_told_late_takes_no_act_from_a_later_one(fleet: Fleet) -> None:
    office = desk(fleet)
    fleet.post(fleet.serviced(NOW - 60 * DAY), fleet.flushed(SECOND, burner_stopped=False))
    office.act(episode(1), office.assigned())
    fleet.post(fleet.flushed(FIRST, burner_stopped=False), fleet.repaired(REPAIRED))
    assert [r.opened_at for r in (episode(1), episode(2))] == [FIRST, SECOND]
    assert [told(r).life.status for r in (episode(1), episode(2))] == ["closed", "assigned"]
    assert pipeline.rebuild(at=NOW) == 0


def test_an_act_stays_with_an_episode_whose_beginning_moves(fleet: Fleet) -> None:
    office = desk(fleet)
    fleet.post(fleet.serviced(NOW - 60 * DAY), fleet.flushed(SECOND, burner_stopped=False))
    office.act(episode(1), office.assigned())
    fleet.post(fleet.flushed(FIRST, burner_stopped=False))
    assert (episode(1).opened_at, told(episode(1)).life.status) == (FIRST, "assigned")


def taken_away(office: Desk, at: datetime) -> IncomingVisit:
    made = correction(office.fleet.flushed(at, sediment="very_dirty"), entries=office.fleet.flushed(at).entries)
    office.fleet.post(made)
    return made


def test_a_cause_that_comes_back_brings_its_own_row_and_acts_back(fleet: Fleet) -> None:
    office, at = desk(fleet), NOW - DAY
    row = dirty(fleet, at)
    office.act(row, DEFER)
    made = taken_away(office, at)
    gone = told(row)
    fleet.post(restored(made, fleet.flushed(at, sediment="very_dirty")))
    back = told(row)
    assert (gone.life.status, [a.kind for a in gone.acts]) == ("withdrawn", ["deferred"])
    assert (back.life.status, back.life.deferred_until) == ("open", DEFER.until)
    assert pipeline.rebuild(at=NOW) == 0


def test_a_rebuild_writes_nothing_after_a_withdrawal(fleet: Fleet) -> None:
    office, at = desk(fleet), NOW - DAY
    office.act(dirty(fleet, at), DEFER)
    taken_away(office, at)
    assert pipeline.rebuild(at=NOW) == 0
    assert pipeline.rebuild(at=NOW + timedelta(seconds=1)) == 0
