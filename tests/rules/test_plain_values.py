"""The values of the rules: nobody changes one handed out, what a fact is not told it denies, a code is a name."""

import dataclasses
import enum
import importlib
import inspect
import pkgutil
from collections.abc import Iterator
from math import inf
from typing import Any

import pytest

import fleet.rules
from fleet.rules.catalogue import NeedExposure
from fleet.rules.values import FiringAnswer, HeatEvidence, Level, Standing

MODULES = [importlib.import_module(m.name) for m in pkgutil.walk_packages(fleet.rules.__path__, "fleet.rules.")]


def classes() -> Iterator[type]:
    for module in MODULES:
        own = (c for _, c in inspect.getmembers(module, inspect.isclass) if c.__module__ == module.__name__)
        yield from own


VALUES: list[Any] = [c for c in classes() if dataclasses.is_dataclass(c)]
WORDS: list[Any] = [c for c in classes() if issubclass(c, enum.Enum)]

# What a replay writes on while it goes; a snapshot, a trace and a bench are made too often to be frozen.
WRITTEN_ON = {
    "AskedCause",
    "Clock",
    "EntryTrace",
    "EpisodeCase",
    "GradingBench",
    "LockOn",
    "MeterHistory",
    "PositionRecord",
    "PositionSnapshot",
    "ReplayLedger",
    "ReplayRun",
}
KEEPING = {"BoilerView", "Catalogue", "Evidence"}  # they keep what they worked out once


@pytest.mark.parametrize("value", VALUES, ids=lambda value: value.__name__)
def test_nobody_changes_a_value_but_those_that_a_replay_writes_on(value: Any) -> None:
    assert value.__dataclass_params__.frozen is (value.__name__ not in WRITTEN_ON)
    assert ("__slots__" in vars(value)) is (value.__name__ not in KEEPING)


# Left out of what makes two of them the same, and of how they are shown.
NOT_COMPARED = {
    ("PassedProof", "answered"),
    ("PositionSnapshot", "at"),
    ("PositionRecord", "above"),
    ("PositionRecord", "hanging"),
}
SHOWN = {("PositionSnapshot", "at")}


def test_two_values_are_the_same_by_all_that_they_say_but_what_was_only_kept() -> None:
    fields = [(value.__name__, field) for value in VALUES for field in dataclasses.fields(value)]
    assert {(name, field.name) for name, field in fields if not field.compare} == NOT_COMPARED
    assert {(name, field.name) for name, field in fields if not field.repr} == NOT_COMPARED - SHOWN
    assert [value.__name__ for value in VALUES if value.__dataclass_params__.order] == ["Moment"]


# What a fact says that was told nothing else; every other default denies: no, none, nothing.
SAYS: dict[tuple[str, str], object] = {
    ("ReadingSpec", "otherwise"): "fail",
    ("ProcedureSpec", "people"): 1,
    ("VisitFact", "state_on_arrival"): "unknown",
    ("VisitFact", "of_this_boiler"): True,
    ("AdoptedTerms", "urgent_days"): 7,
    ("AdoptedTerms", "due_soon_days"): 14,
    ("AdoptedTerms", "operator_firing_days"): 30,
    ("AdoptedTerms", "gauge_most_psi"): 60.0,
    ("AdoptedTerms", "relief_rule"): "output_only",
    ("AskedCause", "explained_from_psi"): inf,
    ("ReadingDoubt", "error_psi"): inf,
    ("ReadingDoubt", "why"): "what it was read by was found wrong",
    ("PositionRecord", "on_record"): True,
    ("RegisterGap", "exposes"): NeedExposure.NO,
    ("Judgement", "heat"): HeatEvidence(),
}


def test_what_a_value_is_not_told_it_denies_but_where_a_default_is_named() -> None:
    told = {
        (value.__name__, field.name): field.default
        for value in VALUES
        for field in dataclasses.fields(value)
        if field.default is not dataclasses.MISSING
    }
    assert {key: default for key, default in told.items() if default or key in SAYS} == SAYS


@pytest.mark.parametrize("words", WORDS, ids=lambda words: words.__name__)
def test_every_word_is_written_as_it_is_named(words: Any) -> None:
    odd = {word: word.value for word in words if word.value != word.name.lower()}
    assert odd == ({FiringAnswer.NOTHING_FOUND: "nothing_found_by_this_visit"} if words is FiringAnswer else {})


def test_levels_and_standings_stand_worst_first() -> None:
    assert list(Level) == [Level.HOLD, Level.URGENT, Level.ROUTINE]
    worst_first = ["hold", "exposed", "impaired", "due", "clear", "not_surveyed", "off"]
    assert [standing.value for standing in Standing] == worst_first
