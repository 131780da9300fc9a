"""Judging is linear in the entries: ten times the history takes about ten times the CPU, not a hundred."""

import time

import pytest

from fleet.rules import judge
from fleet.rules.values import Evidence
from tests.rules.build import at
from tests.rules.plant import Plant, proof

WEEKS_PER_SERVICE = 48
SIZES = (500, 5_000, 50_000)


def years(entries: int) -> Evidence:
    """A boiler that is flushed and read every week and serviced once in forty-eight of them."""
    boiler, week = Plant().service(), 0
    made = len(boiler.visits[-1].entries)
    while made < entries:
        week += 1
        if week % WEEKS_PER_SERVICE == 0:
            boiler.service(week * 7.0)
        else:
            read = proof("meter", "meter_reading", reading=10.0 * week)
            boiler.visit(week * 7.0, proof("upper", "flush"), proof("lower", "flush"), read)
        made += len(boiler.visits[-1].entries)
    return boiler.evidence()


def cpu_of(evidence: Evidence) -> float:
    began = time.process_time()
    judge(evidence, (), at(0))
    return time.process_time() - began


@pytest.mark.timeout(180)
def test_the_cost_of_an_entry_does_not_grow_with_the_history(request: pytest.FixtureRequest) -> None:
    """The longest by `--load full`: a history of 50,000 entries takes a while to make."""
    each, sizes = {}, SIZES if request.config.getoption("load") == "full" else SIZES[:2]
    for size in sizes:
        evidence = years(size)
        made = sum(len(v.entries) for v in evidence.visits)
        took = min(cpu_of(evidence) for _ in range(3 if size < 50_000 else 1))
        each[size] = took / made
        print(f"\n{made} entries: {took:.3f} s, {1000 * each[size]:.3f} ms an entry", end="")
    assert each[sizes[-1]] < 2 * each[sizes[0]]
