"""What a process keeps of the boilers it judged last is bounded, one thread's at a time, and never taken on trust."""

from dataclasses import replace
from uuid import uuid4

import pytest
from django.db import transaction

from fleet import pipeline
from fleet.evidence import VisitLineCache, gather_evidence
from fleet.pipeline import memory
from fleet.visits.models import Entry
from tests.cast import DAY, NOW, Fleet, conclusions, standing

pytestmark = pytest.mark.django_db


def test_the_longest_unused_is_given_up_when_there_are_too_many_lines(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(memory, "_MEMORIES", memory.make_memory_cache(max_lines=10))
    first, second, third = (uuid4() for _ in range(3))
    for boiler, lines in ((first, 4), (second, 4), (first, 4), (third, 3)):
        with memory.boiler_memory(boiler) as known:
            known.line_cache.count = lines
    assert list(memory._MEMORIES) == [first, third]


def test_one_with_more_lines_than_are_kept_at_all_is_not_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(memory, "_MEMORIES", memory.make_memory_cache(max_lines=10))
    with memory.boiler_memory(uuid4()) as known:
        known.line_cache.count = 11
    assert not memory._MEMORIES


def test_where_something_fails_nothing_is_kept_and_nobody_else_is_given_it_meanwhile() -> None:
    memory.forget_boilers()
    boiler = uuid4()
    with memory.boiler_memory(boiler) as mine, memory.boiler_memory(boiler) as theirs:
        assert mine is not theirs
    with pytest.raises(ZeroDivisionError), memory.boiler_memory(boiler):
        raise ZeroDivisionError
    assert boiler not in memory._MEMORIES


def test_what_was_read_in_a_post_that_was_taken_back_is_not_taken_for_what_was_posted_then(fleet: Fleet) -> None:
    fleet.post(fleet.serviced(NOW - 30 * DAY))
    failed = fleet.flushed(NOW - DAY, burner_stopped=False)
    with transaction.atomic():
        fleet.post(failed)
        transaction.set_rollback(True)
    fleet.post(replace(fleet.flushed(NOW - DAY), id=failed.id))
    told = conclusions(fleet.bench().boiler.id)
    assert (standing(fleet.bench()), pipeline.rebuild(at=NOW)) == ("clear", 0)
    assert conclusions(fleet.bench().boiler.id) == told


def test_lines_read_before_are_the_lines_read_anew(fleet: Fleet) -> None:
    boiler, read = fleet.bench().boiler.id, VisitLineCache()
    for day in (30, 20, 10):
        fleet.post(fleet.serviced(NOW - day * DAY) if day == 30 else fleet.flushed(NOW - day * DAY))
        assert gather_evidence(boiler, NOW, line_cache=read) == gather_evidence(boiler, NOW)
    assert read.count == Entry.objects.filter(visit__boiler=boiler).count()
