"""Several safety valves: the last line is the sound ones' stamped capacity together."""

from dataclasses import replace

import pytest

from fleet.rules import judge
from fleet.rules.values import Evidence, Fitting, Position, Setting, Standing, StandingSegment, Value
from tests.rules.build import FITTED, Boiler, at, ident, proof


def pair(first: Value, second: Value, output: Value = 900_000.0, sound: bool = True) -> StandingSegment:
    """The standing with the second valve never proven (or the first too), by both stamps and the output."""
    boiler = Boiler()
    refs = ("siphon_a", "siphon_b", "chamber", "upper", "lower", "control", "limit")
    boiler.visit(0, *map(proof, refs), *([proof("valve")] if sound else []))
    stamped = [(ident("valve"), first), (ident("valve 2"), second)]
    boiler.settings += [Setting(p, "capacity_lb_h", c, FITTED) for p, c in stamped if c is not None]
    boiler.settings.append(Setting(None, "output_btu_h", output, FITTED))
    boiler.fittings.append(Fitting(ident("valve 2"), ident("second"), "safety_valve", FITTED, {"set_psi": 15.0}))
    whole: Evidence = boiler.evidence()
    place = Position(ident("valve 2"), "valve 2", "second safety valve", "safety_valve")
    judged = judge(replace(whole, positions=(*whole.positions, place)), (), at(400))
    return next(s for s in judged.standings if s.since and s.since <= at(1) and (s.until is None or at(1) < s.until))


@pytest.mark.parametrize(
    ("first", "second", "standing"),
    [(900.0, 900.0, Standing.DUE), (899.0, 900.0, Standing.EXPOSED), (None, 900.0, Standing.EXPOSED)],
)
def test_a_valve_never_proven_exposes_unless_the_sound_ones_carry_the_output(
    first: Value, second: Value, standing: Standing
) -> None:
    assert pair(first, second).standing is standing


def test_two_valves_never_proven_do_not_stand_for_each_other() -> None:
    assert pair(900.0, 900.0, sound=False).standing is Standing.EXPOSED
