"""A boiler is clear only if a naive checker, which shares no code with the rules, finds nothing to object to."""

from collections import Counter
from dataclasses import replace
from datetime import timedelta
from random import Random

import pytest

from fleet.rules import judge
from fleet.rules.values import FiringAnswer, Standing
from tests.rules.moments.as_evidence import as_evidence
from tests.rules.moments.checker import objections, objections_to_visit
from tests.rules.moments.story import START, make_story

MOMENTS_A_STORY = 250


def test_no_random_moment_is_clear_that_a_naive_checker_objects_to(request: pytest.FixtureRequest) -> None:
    asked = request.config.getoption("--moments")
    seen, wrong = Counter[str](), []
    for seed in range(max(1, asked // MOMENTS_A_STORY)):
        story = make_story(seed)
        judgement = judge(as_evidence(story), (), story.end)
        random = Random(seed)
        for _ in range(MOMENTS_A_STORY):
            at = START + timedelta(seconds=random.random() * (story.end - START).total_seconds())
            standing = judgement.standing_at(at).standing
            objection = next(objections(story, at), None)
            seen["moments"] += 1
            seen["clear"] += standing is Standing.CLEAR
            seen["objected to"] += objection is not None
            if standing is Standing.CLEAR and objection is not None:
                wrong.append(f"story {seed} at {at}: {objection}")
    print(dict(seen), f"{len(wrong)} clear over an objection")
    assert not wrong, "\n".join(wrong[:20])
    # A checker that always objects, or rules that never say clear, would prove nothing.
    assert seen["clear"] > seen["moments"] / 20
    assert seen["objected to"] > seen["moments"] / 20


def test_no_random_visit_finds_nothing_where_a_naive_checker_objects(request: pytest.FixtureRequest) -> None:
    asked = request.config.getoption("--moments")
    seen, wrong = Counter[str](), []
    for seed in range(max(1, asked // MOMENTS_A_STORY)):
        story = make_story(seed)
        evidence = as_evidence(story)
        answers = {r.visit: r.answer for r in judge(evidence, (), story.end).readiness}
        for visit, fact in zip(story.visits, evidence.visits, strict=True):
            answer = answers.get(fact.id)
            objection = next(objections_to_visit(story, visit), None)
            seen["visits"] += 1
            seen["asked"] += answer is not None
            seen["nothing found"] += answer == FiringAnswer.NOTHING_FOUND
            seen["objected to"] += objection is not None
            if answer == FiringAnswer.NOTHING_FOUND and objection is not None:
                wrong.append(f"story {seed}, visit of {visit.at}: {objection}")
    print(dict(seen), f"{len(wrong)} found nothing over an objection")
    assert not wrong, "\n".join(wrong[:20])
    assert seen["nothing found"] > seen["asked"] / 20


def test_the_checker_objects_to_what_registers_told_in_part_are_called() -> None:
    """Before registers were asked for the rest, the rules said clear over it: the checker must see that."""
    over = 0
    for seed in range(12):
        story = make_story(seed)
        judgement = judge(replace(as_evidence(story), register=None), (), story.end)
        moments = [START + timedelta(days=day) for day in range((story.end - START).days)]
        clear = [at for at in moments if judgement.standing_at(at).standing is Standing.CLEAR]
        over += sum(next(objections(story, at), None) is not None for at in clear)
    assert over > 0
