"""What holds for every story: order never matters, time never heals, good news never hurts, bad news never helps."""

import random
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise
from unittest import mock

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from fleet.rules import judge
from fleet.rules.ledger.records import ReplayLedger
from fleet.rules.replay.evidence_replay import replay_evidence
from fleet.rules.timeline.boundaries import Timeline
from fleet.rules.timeline.replay_cache import ReplayCache
from fleet.rules.timeline.standing import decide_standing
from fleet.rules.timeline.states import state_segments
from fleet.rules.values import ActFact, EntryFact, Evidence, Judgement, Standing, State
from tests.rules.build import LEFT_RIGHT, Boiler, at, catalogue
from tests.rules.stories import (
    BAD_NEWS,
    FIVE,
    PASSES,
    last_fact,
    later_than,
    says,
    stories,
    with_visit,
    without_pause,
)

# A test that opens something is work too: what hangs on it is to be proven again.
MERE_PASSES = [p for p in PASSES if not catalogue().procedures[p.code].voids]

quickly = settings(deadline=None)  # as many examples as the profile says: 100, or 500 by --hypothesis-profile=thorough
INSTANT = timedelta(microseconds=1)
moments = st.floats(-60, 900).map(at)


def judged(evidence: Evidence) -> Judgement:
    return judge(evidence, (), at(900))


def shuffled(evidence: Evidence, seed: int) -> Evidence:
    """The same facts in another order, some of them twice, entries of a visit included."""
    mix = random.Random(seed)

    def stir(facts: tuple[object, ...]) -> tuple[object, ...]:
        again = [*facts, *mix.choices(facts, k=2)] if facts else []
        mix.shuffle(again)
        return tuple(again)

    visits = [replace(v, entries=tuple(mix.sample(v.entries, len(v.entries)))) for v in evidence.visits]
    return replace(
        evidence,
        visits=stir(tuple(visits)),
        fittings=stir(evidence.fittings),
        settings=stir(evidence.settings),
        services=stir(evidence.services),
        positions=tuple(mix.sample(evidence.positions, len(evidence.positions))),
    )


@quickly
@given(stories(), st.integers(0, 2**32))
def test_the_order_and_the_repeats_of_the_evidence_change_nothing(boiler: Boiler, seed: int) -> None:
    evidence = boiler.evidence()
    assert judged(shuffled(evidence, seed)) == judged(evidence)


@quickly
@given(stories())
def test_what_an_entry_is_held_to_reach_is_all_that_it_changes(boiler: Boiler) -> None:
    evidence = boiler.evidence()
    with mock.patch.object(ReplayLedger, "records_in_reach", lambda ledger, record, undisturbed: ledger.records):
        whole = replay_evidence(evidence).snapshots
    assert replay_evidence(evidence).snapshots == whole


@quickly
@given(stories())
def test_time_alone_never_makes_a_standing_better(boiler: Boiler) -> None:
    evidence = boiler.evidence()
    whole = judged(evidence)
    ranks = [says(whole, t).standing.rank for t in later_than(last_fact(evidence), whole)]
    assert ranks == sorted(ranks, reverse=True)


@quickly
@given(stories())
def test_time_alone_never_makes_a_state_better(boiler: Boiler) -> None:
    evidence = boiler.evidence()
    newest = last_fact(evidence)
    for position in evidence.positions:
        told = [s for s in judged(evidence).states if s.position == position.id]
        ranks = [list(State).index(s.state) for s in told if s.until is None or s.until > newest]
        assert ranks == sorted(ranks, reverse=True)


@quickly
@given(stories(), moments)
def test_standing_and_reasons_change_only_at_the_boundaries(boiler: Boiler, when: datetime) -> None:
    run = ReplayCache().replay_for(boiler.evidence())  # with all that time alone brings
    known = [s for p, r in run.ledger.records.items() for s in state_segments(run.ledger, r, run.snapshots[p])]
    told = says(judged(boiler.evidence()), when)
    assert decide_standing(Timeline(run, known).view_at(when)) == (told.standing, told.reasons)


@quickly
@given(stories(), st.randoms(use_true_random=False))
def test_before_at_and_after_each_boundary_the_standing_is_that_of_its_segment(
    boiler: Boiler, mix: random.Random
) -> None:
    run = ReplayCache().replay_for(boiler.evidence())  # with all that time alone brings
    known = [s for p, r in run.ledger.records.items() for s in state_segments(run.ledger, r, run.snapshots[p])]
    timeline, cut = Timeline(run, known), judged(boiler.evidence()).standings
    for old, new in mix.sample(list(pairwise(cut)), min(5, len(cut) - 1)):
        assert new.since is not None
        # Evaluated anew on both sides: the change falls on the boundary itself, and there is one.
        before, at_it, after = (
            decide_standing(timeline.view_at(new.since + d)) for d in (-INSTANT, timedelta(0), INSTANT)
        )
        assert (before, at_it) == ((old.standing, old.reasons), (new.standing, new.reasons))
        assert after == at_it or new.until == new.since + INSTANT
        assert replace(old, since=new.since, until=new.until) != new


@quickly
@given(stories())
def test_the_segments_cover_all_of_time_once_and_each_has_a_reason(boiler: Boiler) -> None:
    cut = judged(boiler.evidence()).standings
    assert [s.until for s in cut] == [*(s.since for s in cut[1:]), None]
    assert cut[0].since is None
    assert all(s.reasons and all(r.sentence for r in s.reasons) for s in cut)


@quickly
@given(stories())
def test_the_states_of_a_position_cover_all_of_time_once(boiler: Boiler) -> None:
    evidence = boiler.evidence()
    known = judged(evidence).states
    for position in evidence.positions:
        told = [s for s in known if s.position == position.id]
        assert [s.until for s in told] == [*(s.since for s in told[1:]), None]


@quickly
@given(stories(surveyed=True), st.sampled_from(MERE_PASSES), st.sampled_from([0.01, 3.0, 40.0, 300.0]))
def test_a_valid_pass_never_makes_a_standing_worse(boiler: Boiler, entry: EntryFact, days: float) -> None:
    boiler = without_pause(boiler)
    when = last_fact(boiler.evidence()) + timedelta(days=days)
    before, after = judged(boiler.evidence()), judged(with_visit(boiler, when, entry).evidence())
    assume(after.verdicts[-1].proves)
    for moment in (*later_than(when, before), *later_than(when, after)):
        assert says(after, moment).standing.rank >= says(before, moment).standing.rank


@quickly
@given(stories(surveyed=True), st.sampled_from(BAD_NEWS), st.sampled_from(["", "operator", "technician"]))
def test_bad_news_at_the_end_never_makes_a_standing_better(boiler: Boiler, entry: EntryFact, who: str) -> None:
    boiler = without_pause(boiler)
    when = last_fact(boiler.evidence()) + timedelta(days=1)
    before, after = judged(boiler.evidence()), judged(with_visit(boiler, when, entry, who).evidence())
    for moment in (*later_than(when, before), *later_than(when, after)):
        assert says(after, moment).standing.rank <= says(before, moment).standing.rank


@quickly
@given(stories(surveyed=True), st.sampled_from(BAD_NEWS), moments)
def test_bad_news_posted_late_never_makes_a_standing_better(boiler: Boiler, entry: EntryFact, when: datetime) -> None:
    boiler = without_pause(boiler)
    assume(when > at(-20))
    before, after = judged(boiler.evidence()), judged(with_visit(boiler, when, entry, "").evidence())
    for moment in (*later_than(when, before), *later_than(when, after)):
        assert says(after, moment).standing.rank <= says(before, moment).standing.rank


@quickly
@given(stories(), st.sampled_from(["defer", "acknowledge", "report_repair", "explain"]))
def test_what_people_decide_changes_no_verdict_state_or_standing(boiler: Boiler, kind: str) -> None:
    evidence = boiler.evidence()
    acts = [ActFact(kind, d.entry, at(500)) for d in judged(evidence).deficiencies if d.entry]
    told, silent = judge(evidence, acts, at(900)), judged(evidence)
    assert told.verdicts == silent.verdicts
    assert told.states == silent.states
    assert told.findings == silent.findings
    assert told.standings == silent.standings


@quickly
@given(stories())
def test_a_story_never_ends_clear_with_a_hold_or_an_urgent_deficiency_open(boiler: Boiler) -> None:
    evidence = boiler.evidence()
    newest = last_fact(evidence)
    whole = judged(evidence)
    open_now = [s for d in whole.deficiencies if d.closed_at is None for s in d.levels]
    levels = {s.level.value for s in open_now if s.since <= newest and (s.until is None or newest < s.until)}
    standing = says(whole, newest).standing
    assert standing in FIVE or standing in (Standing.OFF, Standing.NOT_SURVEYED)
    assert not (standing in (Standing.CLEAR, Standing.DUE) and levels & {"hold", "urgent"})


NOTHING_OPENED = [p for p in MERE_PASSES if p.code not in ("flush", "evaporation")]


@quickly
@given(st.permutations(NOTHING_OPENED), st.integers(0, 3))
def test_an_untouched_boiler_needs_nothing_twice(tests: list[EntryFact], again: int) -> None:
    boiler = Boiler().service().visit(300, *tests, *tests[:again], leave=LEFT_RIGHT)
    asked = {m.position for m in boiler.ready().missing if m.what in ("touched", "inconclusive")}
    assert asked & {t.position for t in tests} == set()
    ends = {s.position: s.state for s in judged(boiler.evidence()).states if s.since and s.since <= at(301)}
    assert {ends[t.position] for t in tests if t.position} == {State.PROVEN}
