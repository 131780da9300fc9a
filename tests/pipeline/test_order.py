"""The order, lateness and splitting of posts decide nothing; a rebuild of what is up to date writes nothing."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fleet import pipeline
from fleet.board.models import Judged
from fleet.visits.incoming import IncomingVisit
from tests.cast import DAY, NOW, Fleet, conclusions

pytestmark = pytest.mark.django_db


def story(fleet: Fleet) -> list[IncomingVisit]:
    """A service, weekly flushes, a failure, a repair, a mistake and its correction."""
    wrong = fleet.flushed(NOW - 3 * DAY, burner_stopped=False)
    right = replace(fleet.flushed(NOW - 3 * DAY), id=uuid4(), corrects=wrong.id, reason="wrong box ticked")
    return [
        fleet.serviced(NOW - 60 * DAY),
        fleet.flushed(NOW - 50 * DAY, who=fleet.caretaker),
        fleet.flushed(NOW - 20 * DAY, burner_stopped=False),
        fleet.flushed(NOW - 19 * DAY),
        fleet.repaired(NOW - 18 * DAY),
        wrong,
        right,
        fleet.flushed(NOW - DAY, recovery="slow"),
    ]


def outcome(fleet: Fleet, batches: Sequence[Sequence[IncomingVisit]]) -> dict[str, list[tuple[object, ...]]]:
    """What is concluded after these posts, each batch together; the database is as before afterwards."""
    with transaction.atomic():
        for batch in batches:
            fleet.post(*batch)
        pipeline.sweep(at=NOW)
        found = conclusions(fleet.bench().boiler.id)
        transaction.set_rollback(True)
    return found


def in_one_order(visits: Sequence[IncomingVisit], shuffled: Sequence[int]) -> list[IncomingVisit]:
    """The visits in the shuffled order, except that a correction follows what it names."""
    listed = [visits[i] for i in shuffled]
    listed.sort(key=lambda v: v.corrects is not None)
    return listed


@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
@given(shuffled=st.permutations(range(8)), cut=st.integers(0, 8), again=st.integers(0, 7))
def test_order_repeats_and_splits_of_posts_do_not_matter(
    fleet: Fleet, shuffled: list[int], cut: int, again: int
) -> None:
    visits = story(fleet)
    straight = outcome(fleet, [[v] for v in visits])
    mixed = in_one_order(visits, shuffled)
    repeats = [[mixed[again]]] if mixed[again].corrects is None else []
    assert outcome(fleet, [b for b in (mixed[:cut], mixed[cut:], *repeats) if b]) == straight


def test_a_rebuild_of_an_up_to_date_database_writes_no_row(fleet: Fleet) -> None:
    fleet.post(*story(fleet))
    assert pipeline.rebuild(at=NOW) == 0


def test_a_rebuild_after_the_rules_changed_writes_only_the_new_build(fleet: Fleet) -> None:
    fleet.post(*story(fleet))
    Judged.objects.update(build="r0.c1.t0")
    assert pipeline.rebuild(at=NOW) == Judged.objects.count()


def test_a_rebuild_long_after_the_last_sweep_writes_what_time_alone_brought(fleet: Fleet) -> None:
    fleet.post(*story(fleet))
    assert pipeline.rebuild(at=NOW + 400 * DAY) > 0
    assert pipeline.rebuild(at=NOW + 400 * DAY + timedelta(minutes=1)) == 0
