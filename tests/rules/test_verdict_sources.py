"""A verdict cites the source of the limit that decided, not that of its procedure."""

import pytest

from fleet.rules.values import EntryFact
from fleet.rules.verdicts import DECISIVE_READINGS, FIRES, GRADERS
from tests.rules.build import Boiler, catalogue, proof
from tests.rules.plant import Plant
from tests.rules.plant import proof as plant_proof

CITED = [  # entry, the reading whose source must stand there
    (proof("limit"), "trip_psi"),
    (proof("limit", trip_psi=13.1), "trip_psi"),
    (proof("control"), "trip_psi"),
    (proof("lower"), "trip_in"),
    (proof("lower", trip_in=0.0), "trip_in"),
    (proof("lower", locked_out=False), "locked_out"),
    (proof("lower", locked_out=None), "locked_out"),
    (proof("upper", "flush"), "burner_stopped"),
    (proof("valve"), "gauge_psi"),
    (plant_proof("gauge"), "difference_psi"),
    (plant_proof("gauge", difference_psi=1.1), "difference_psi"),
    (plant_proof("flame", seconds_to_shut=5.0), "seconds_to_shut"),
    (plant_proof("burner"), "co_ppm"),
    (plant_proof("burner", ambient_co_ppm=36.0), "ambient_co_ppm"),
    (plant_proof("limit", "ladder_read_back", as_posted=True, limit_psi=8.0), "limit_psi"),
]


@pytest.mark.parametrize(("entry", "reading"), CITED)
def test_the_source_of_the_limit_stands_beside_the_verdict(entry: EntryFact, reading: str) -> None:
    verdict = Plant().service().visit(1, entry).verdict()
    assert verdict.source == catalogue().procedures[entry.code].readings[reading].source


def test_what_has_no_limit_cites_the_way_it_is_done() -> None:
    verdict = Boiler().service().visit(1, proof("lower", "button_test")).verdict()
    assert verdict.source == catalogue().procedures["button_test"].source


def test_every_decisive_reading_is_one_of_each_procedure_that_its_grader_judges() -> None:
    judged = [(p.judged_by, p) for p in catalogue().procedures.values() if p.judged_by in DECISIVE_READINGS]
    assert [p.code for grader, p in judged if DECISIVE_READINGS[grader] not in p.readings] == []
    assert DECISIVE_READINGS.keys() == GRADERS.keys() - {"button", "table"}


def test_every_grader_says_what_it_fires() -> None:
    assert FIRES.keys() == GRADERS.keys()
