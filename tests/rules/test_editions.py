"""A later release of the catalogue begins at a midnight: what was done before is judged by the older one, for ever."""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from fleet.calendar import Interval
from fleet.rules.catalogue import Catalogue
from fleet.rules.values import CatalogueEdition, Evidence, State
from tests.rules.build import at, catalogue, ident
from tests.rules.plant import Plant, proof
from tests.rules.test_properties import judged

STARTS = datetime(2025, 11, 1, 4, tzinfo=at().tzinfo)  # midnight at the building
INSTANT = timedelta(microseconds=1)


def stricter() -> Catalogue:
    """A second release: a gauge may be half a psi off, and the float chamber is flushed every three days."""
    first = catalogue()
    gauge, flush = first.procedures["gauge_comparison"], first.procedures["flush"]
    spec = gauge.readings["difference_psi"]
    assert spec.rule is not None
    tight = replace(spec, rule=replace(spec.rule, number=0.5))
    changed = {
        "gauge_comparison": replace(gauge, readings={**gauge.readings, "difference_psi": tight}),
        "flush": replace(flush, interval=Interval.parse("3 d")),
    }
    return replace(first, release=2, procedures={**first.procedures, **changed})


def with_second(boiler: Plant) -> Evidence:
    return replace(boiler.evidence(), editions=(CatalogueEdition(STARTS, stricter()),))


@pytest.mark.parametrize(
    ("when", "outcome"), [(STARTS - INSTANT, "pass"), (STARTS, "fail"), (STARTS + INSTANT, "fail")]
)
def test_a_reading_is_judged_by_the_limit_of_its_own_day(when: datetime, outcome: str) -> None:
    boiler = Plant().service()
    boiler.visit((when - at()) / timedelta(days=1), proof("gauge", difference_psi=0.8))
    entry = boiler.visits[-1].entries[0]
    assert entry.at == when
    assert {v.entry: v.outcome for v in judged(with_second(boiler)).verdicts}[entry.id] == outcome


def test_an_interval_that_shortens_makes_due_on_its_first_day_and_no_earlier() -> None:
    boiler = (
        Plant().service().visit(12, proof("upper", "flush"))
    )  # 27 October; due 3 November, by the second on 30 October
    segments = [s for s in judged(with_second(boiler)).states if s.position == ident("upper")]
    state = {t: next(s.state for s in segments if s.until is None or t < s.until) for t in (STARTS - INSTANT, STARTS)}
    assert state == {STARTS - INSTANT: State.PROVEN, STARTS: State.DUE}


def without_lever_lift() -> Catalogue:
    """A release in which only a pop test proves a valve."""
    first = catalogue()
    kept = {code: p for code, p in first.procedures.items() if code != "lever_lift"}
    variants = {key: v for key, v in first.variants.items() if key[0] != "lever_lift"}
    return replace(first, release=2, procedures=kept, variants=variants)


def test_a_procedure_that_a_later_release_retires_goes_on_counting_for_what_it_proved() -> None:
    boiler = Plant().service()
    whole = replace(boiler.evidence(), editions=(CatalogueEdition(STARTS, without_lever_lift()),))
    before, after = judged(boiler.evidence()), judged(whole)
    assert after.verdicts == before.verdicts
    assert [s.state for s in after.states if s.position == ident("valve")][-3:] == [
        State.PROVEN,
        State.DUE,
        State.LAPSED,
    ]


def test_the_order_in_which_releases_are_handed_in_changes_nothing() -> None:
    third = CatalogueEdition(STARTS + timedelta(days=30), catalogue())
    evidence = replace(Plant().service().evidence(), editions=(CatalogueEdition(STARTS, stricter()), third))
    assert judged(replace(evidence, editions=evidence.editions[::-1])) == judged(evidence)
