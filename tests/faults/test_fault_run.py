"""After programs were killed under load nothing is lost and nothing is doubled: a short run of the real command."""

import pytest

from tests.faults.fault_run import FaultPlan, run_faults
from tests.faults.running_site import PROGRAMS

SHORT = FaultPlan(
    seed=3,
    kills=len(PROGRAMS),
    mean_pause=0.8,
    clients=3,
    client_pause=0.3,
    delivery_seconds=0.0,
    seen_parts=("sweep",),
)


def test_after_each_program_was_killed_once_nothing_is_lost_and_nothing_is_doubled() -> None:
    report = run_faults(SHORT)
    assert report.faults == [], "\n".join(report.lines())
    assert report.killed == dict.fromkeys(PROGRAMS, 1)
    assert report.acknowledged > 0
    assert report.expected_alerts > 0
    assert report.notices_sent > 0


@pytest.mark.full
@pytest.mark.timeout(3600)
def test_after_two_hundred_kills_nothing_is_lost_and_nothing_is_doubled(capsys: pytest.CaptureFixture[str]) -> None:
    report = run_faults(FaultPlan(seed=7, kills=200, people_per_building=20))
    with capsys.disabled():
        print("\n" + "\n".join(report.lines()))
    assert report.faults == []
    assert sum(report.killed.values()) == 200
