"""A hazard stands bare where nothing against it stands, or its last line does not; by the states of the standing."""

import pytest

from fleet.rules.values import EntryFact, Standing
from tests.rules.build import Boiler, at, proof, remove

TABLE: list[tuple[str, list[EntryFact], Standing, tuple[str, ...]]] = [
    ("nothing failed", [proof("limit")], Standing.CLEAR, ()),
    ("the limit failed, the valve stands", [proof("limit", trip_psi=13.5)], Standing.HOLD, ()),
    ("the valve failed, the limit stands", [proof("valve", lifted=False)], Standing.HOLD, ("over_pressure",)),
    ("the upper cutoff failed", [proof("upper", "flush", burner_stopped=False)], Standing.HOLD, ()),
    ("the lower cutoff failed", [proof("lower", burner_stopped=False)], Standing.HOLD, ("dry_firing",)),
    ("the valve taken out", [remove("valve")], Standing.HOLD, ("over_pressure",)),
]


@pytest.mark.parametrize(("told", "entries", "standing", "bare"), TABLE, ids=[row[0] for row in TABLE])
def test_what_stands_bare_follows_from_what_stands(
    told: str, entries: list[EntryFact], standing: Standing, bare: tuple[str, ...]
) -> None:
    segment = Boiler().service().visit(1, *entries).standing_at(at(2))
    assert (segment.standing, segment.bare) == (standing, bare)


def test_by_time_alone_a_hazard_stands_bare_from_the_lapse_of_its_last_line() -> None:
    judged = Boiler().service().judged()
    first = next(s for s in judged.standings if s.since and s.since > at(1) and s.bare)
    assert judged.glass is not None
    assert first.since == judged.glass.exposed_at
    assert judged.glass.hazard in first.bare
