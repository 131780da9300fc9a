"""Two people decide on one deficiency or alert at the same time: one wins, the other is told; with real connections."""

import threading
from typing import Any

import pytest

from fleet import pipeline
from fleet.alerts.acts import AlertDecision as OnAlert
from fleet.alerts.models import Alert, AlertAct
from fleet.board.models import Change, Pulse
from fleet.deficiencies.models import DeficiencyAct
from fleet.errors import Refused
from tests.cast import DAY, NOW, Fleet, make_fleet
from tests.deficiencies.people import DEFER, desk, dirty, failed
from tests.pipeline.test_concurrency import at_once

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def fleet(transactional_db: Any) -> Fleet:
    """Committed, so that other connections see it."""
    return make_fleet()


def outcome(work: Any, barrier: threading.Barrier) -> str:
    """How it ended for one of them: both begin at once."""
    barrier.wait(30)
    try:
        work()
    except Refused as refused:
        return refused.faults[0].code
    return "won"


@pytest.mark.parametrize("people", [2, 6])
def test_of_those_who_decide_on_one_deficiency_one_wins(fleet: Fleet, people: int) -> None:
    office = desk(fleet)
    row = dirty(fleet)
    version, barrier = row.version, threading.Barrier(people)

    def act(number: int) -> None:
        decision = DEFER if number % 2 else office.assigned()
        pipeline.act_on_deficiency(deficiency=row.id, decision=decision, version=version, by=office.manager, at=NOW)

    ends = at_once(*[lambda n=n: outcome(lambda: act(n), barrier) for n in range(people)])
    assert sorted(ends) == ["stale"] * (people - 1) + ["won"]
    assert (DeficiencyAct.objects.count(), Change.objects.filter(who="ines").count()) == (1, 1)


def test_of_two_who_decide_on_one_alert_one_wins(fleet: Fleet) -> None:
    failed(fleet)
    alert: Alert = Alert.objects.get(condition="hold")
    barrier = threading.Barrier(2)
    decisions = (OnAlert("acknowledged"), OnAlert("shelved", "later", NOW + DAY))

    def act(decision: OnAlert) -> None:
        pipeline.act_on_alert(alert=alert.id, decision=decision, version=alert.version, by=fleet.technician, at=NOW)

    ends = at_once(*[lambda d=d: outcome(lambda: act(d), barrier) for d in decisions])
    assert sorted(ends) == ["stale", "won"]
    assert AlertAct.objects.count() == 1


def test_of_two_who_decide_on_the_portfolios_alert_one_wins(fleet: Fleet) -> None:
    alert: Alert = Alert.objects.get(condition="not_surveyed")
    barrier = threading.Barrier(2)

    def act() -> None:
        pipeline.act_on_alert(
            alert=alert.id, decision=OnAlert("acknowledged"), version=alert.version, by=fleet.technician, at=NOW
        )

    ends = at_once(*[lambda: outcome(act, barrier)] * 2)
    assert sorted(ends) == ["stale", "won"]


def test_a_post_and_an_act_on_one_boiler_come_one_after_the_other(fleet: Fleet) -> None:
    office, barrier = desk(fleet), threading.Barrier(2)
    row = failed(fleet)
    before = Pulse.objects.get().version

    def act() -> None:
        pipeline.act_on_deficiency(
            deficiency=row.id, decision=office.assigned(), version=row.version, by=office.manager, at=NOW
        )

    ends = at_once(lambda: outcome(act, barrier), lambda: outcome(lambda: fleet.post(fleet.repaired(NOW)), barrier))
    assert ends[1] == "won"
    assert ends[0] in ("won", "stale")  # whichever came first
    assert Pulse.objects.get().version == before + ends.count("won")
    assert pipeline.rebuild(at=NOW) == 0
