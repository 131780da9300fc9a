"""Whatever late evidence and corrections do, each act is about one deficiency, each row is right, no rebuild writes."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any
from uuid import uuid4

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fleet import pipeline
from fleet.alerts.models import Alert
from fleet.deficiencies.models import Deficiency, DeficiencyAct
from fleet.deficiencies.queries import deficiency_detail
from fleet.visits.incoming import IncomingVisit
from tests.cast import DAY, NOW, Fleet
from tests.deficiencies.people import Desk, desk

pytestmark = pytest.mark.django_db

Step = tuple[str, int]
STEPS = st.lists(
    st.tuples(st.sampled_from(["fail", "repair", "dirty", "void", "restore", "assign"]), st.integers(1, 40)),
    min_size=3,
    max_size=8,
)


class Story:
    """Visits posted so far, newest chain ends last, and what may be done to them."""

    def __init__(self, office: Desk) -> None:
        self.office, self.fleet = office, office.fleet
        self.stand: dict[Any, IncomingVisit] = {}  # by the id of what stands at the end of a chain
        self.gone: list[tuple[IncomingVisit, IncomingVisit]] = []  # (void correction, what it took away)

    def take(self, step: Step) -> None:
        """Do one step; one that has nothing to act on does nothing."""
        kind, number = step
        steps: dict[str, Callable[[int], None]] = {"void": self.void, "restore": self.restore, "assign": self.assign}
        steps.get(kind, lambda n: self.post(kind, n))(number)

    def post(self, kind: str, days: int) -> None:
        at = NOW - days * DAY
        visits = {
            "fail": lambda: self.fleet.flushed(at, burner_stopped=False),
            "dirty": lambda: self.fleet.flushed(at, sediment="very_dirty"),
            "repair": lambda: self.fleet.repaired(at),
        }
        visit = replace(visits[kind](), id=uuid4())
        self.fleet.post(visit)
        self.stand[visit.id] = visit

    def void(self, number: int) -> None:
        if not self.stand:
            return
        visit = self.stand.pop(list(self.stand)[number % len(self.stand)])
        made = replace(visit, id=uuid4(), corrects=visit.id, reason="x", void=True, entries=())
        self.fleet.post(made)
        self.gone.append((made, visit))

    def restore(self, number: int) -> None:
        if not self.gone:
            return
        made, visit = self.gone.pop(number % len(self.gone))
        back = replace(visit, id=uuid4(), corrects=made.id, reason="x")
        self.fleet.post(back)
        self.stand[back.id] = back

    def assign(self, number: int) -> None:
        rows = Deficiency.objects.filter(closed_at=None, withdrawn=False).order_by("id")
        if rows:
            self.office.act(rows[number % len(rows)], self.office.assigned())


def check() -> None:
    """What holds after every step."""
    assert pipeline.rebuild(at=NOW) == 0
    rows = list(Deficiency.objects.select_related("merged_into"))
    places = [a.id for row in rows for a in deficiency_detail(row, NOW).acts]
    assert sorted(places) == sorted(DeficiencyAct.objects.values_list("id", flat=True))
    for row in rows:
        into = row.merged_into
        assert into is None or (row.withdrawn and not into.withdrawn and into.rule == row.rule)
        assert into is None or into.opened_at <= row.opened_at
    assert not Alert.objects.filter(until=None, condition="hold").exclude(boiler__segments__standing="hold").exists()


@settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))
@given(steps=STEPS)
def test_each_act_is_about_one_deficiency_and_no_rebuild_writes(fleet: Fleet, steps: Sequence[Step]) -> None:
    with transaction.atomic():
        story = Story(desk(fleet))
        fleet.post(fleet.serviced(NOW - 60 * DAY))
        for step in steps:
            story.take(step)
            check()
        transaction.set_rollback(True)
