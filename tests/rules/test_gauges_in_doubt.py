"""Which trips a gauge puts in doubt that is adjusted before anybody measured it: those that it read itself."""

import pytest

from fleet.rules.values import EntryFact, State
from tests.rules.build import act, remove
from tests.rules.plant import Plant, fit, proof

ADJUSTED = act("gauge", "adjust")
TRIP = proof("limit")
COMPARED = proof("gauge")


@pytest.mark.parametrize(
    ("told", "story", "state"),
    [
        ("read by the gauge before it", [TRIP, fit("gauge", range_psi=30.0), ADJUSTED], State.PROVEN),
        ("read by this one", [fit("gauge", range_psi=30.0), TRIP, ADJUSTED], State.NEVER_PROVEN),
        ("read before it was last compared", [TRIP, COMPARED, ADJUSTED], State.PROVEN),
        ("read since it was last compared", [COMPARED, TRIP, ADJUSTED], State.NEVER_PROVEN),
        ("read by one that was taken out", [TRIP, remove("gauge")], State.PROVEN),
    ],
)
def test_a_trip_is_in_doubt_only_by_the_gauge_that_read_it_since_it_was_last_found_right(
    told: str, story: list[EntryFact], state: State
) -> None:
    boiler = Plant().service()
    boiler.visit(1, act("limit", "adjust"))  # what the service proved is void: only the trip below counts
    for day, entry in enumerate(story, start=2):
        boiler.visit(day, entry)
    assert boiler.state("limit", 9) is state
