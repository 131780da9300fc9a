"""What a standing says of itself: what *clear* rests on, what is not guarded, and in which order reasons are given."""

from dataclasses import replace

import pytest

from fleet.rules.timeline.standing import OpenCase, PositionState, bare_hazards, decide_standing
from fleet.rules.values import Level, Reason, ServiceMode, Standing, State
from tests.rules.test_standing_table import SLOW, STOPS, role, seen, view

PROVEN = [seen(role("dry_firing", n, False), State.PROVEN) for n in range(3)]
PATH = seen(role("dry_firing", 0, False, "input_path"), State.PROVEN)
SPARE = seen(role("dry_firing", 4, False), State.PROVEN, needed=False)


@pytest.mark.parametrize(
    ("positions", "sentence"),
    [
        ([], "No protection on record."),
        ([PATH, SPARE], "No protection on record."),
        (PROVEN[:1], "One protection on record and proven."),
        ([*PROVEN[:1], PATH, SPARE], "One protection on record and proven."),
        (PROVEN[:2], "2 protections on record and proven."),
        (PROVEN, "3 protections on record and proven."),
    ],
)
def test_clear_counts_the_protections_that_it_rests_on(positions: list[PositionState], sentence: str) -> None:
    assert decide_standing(view(positions)) == (Standing.CLEAR, (Reason("clear", sentence),))


def test_clear_names_the_hazards_that_nothing_guards_against_by_a_register_told_whole() -> None:
    whole = replace(view(PROVEN[:1]), told_whole=True)
    standing, (clear, unguarded) = decide_standing(whole)
    assert standing is Standing.CLEAR
    assert clear.sentence == "One protection on record and proven; none guards against flue gas."
    assert unguarded == Reason("not_guarded", "No protection is on record here against flue gas.", hazard="flue_gas")


def test_two_hazards_that_nothing_guards_against_are_named_together_and_belong_to_none() -> None:
    _, (clear, unguarded) = decide_standing(replace(view([]), told_whole=True))
    assert clear.sentence == "No protection on record; none guards against dry firing and flue gas."
    assert unguarded == Reason("not_guarded", "No protection is on record here against dry firing and flue gas.")


def test_overfilling_is_never_guarded_and_no_news_of_a_boiler() -> None:
    over = replace(STOPS, code="overfilling", name="Overfilling", stops_firing=False)
    whole = replace(view(PROVEN[:1]), told_whole=True, hazards=[STOPS, over])
    assert [r.rule for r in decide_standing(whole)[1]] == ["clear"]


@pytest.mark.parametrize(
    ("cases", "rules"),
    [
        ([Level.URGENT], ["r0", "not_guarded"]),
        ([Level.HOLD], ["r0", "not_guarded"]),
        ([Level.ROUTINE], ["clear", "not_guarded", "r0"]),
    ],
)
def test_what_is_not_guarded_stands_behind_the_reasons_of_each_standing(cases: list[Level], rules: list[str]) -> None:
    whole = replace(view(PROVEN[:1], cases), told_whole=True)
    assert [r.rule for r in decide_standing(whole)[1]] == rules


def test_before_the_survey_nothing_is_said_of_what_is_not_guarded() -> None:
    whole = replace(view(PROVEN[:1], [Level.HOLD], surveyed=False), told_whole=True)
    assert [r.rule for r in decide_standing(whole)[1]] == ["r0"]


def test_not_surveyed_says_so_before_the_routine_deficiencies() -> None:
    standing, reasons = decide_standing(view(PROVEN[:1], [Level.ROUTINE], surveyed=False))
    assert standing is Standing.NOT_SURVEYED
    told = [("not_surveyed", "No visit by a qualified technician has been judged yet."), ("r0", "routine 0")]
    assert [(r.rule, r.sentence) for r in reasons] == told


@pytest.mark.parametrize(
    ("service", "sentence"),
    [
        (ServiceMode.LAID_UP_WET, "The boiler is laid up wet."),
        (ServiceMode.LAID_UP_DRY, "The boiler is laid up dry."),
        (ServiceMode.ISOLATED, "The boiler is isolated."),
        (ServiceMode.NOT_COMMISSIONED, "The boiler is not commissioned."),
        (ServiceMode.RETIRED, "The boiler is retired."),
    ],
)
def test_a_boiler_that_is_off_says_in_which_way(service: ServiceMode, sentence: str) -> None:
    assert decide_standing(view(PROVEN, service=service)) == (Standing.OFF, (Reason("off", sentence),))


PEOPLE = OpenCase(Level.HOLD, Reason("people", "people"), endangers=True)
SEEN = OpenCase(Level.HOLD, Reason("seen", "seen"))
PRESUMED = OpenCase(Level.HOLD, Reason("presumed", "presumed"), is_presumed=True)
URGENT = OpenCase(Level.URGENT, Reason("urgent", "urgent"))
GAP = OpenCase(Level.URGENT, Reason("not_on_record", "gap"))


@pytest.mark.parametrize("order", [(0, 1, 2), (2, 1, 0), (1, 2, 0)])
def test_a_hold_says_danger_to_people_first_then_what_was_seen_then_what_follows_from_it(
    order: tuple[int, ...],
) -> None:
    cases = [(PEOPLE, SEEN, PRESUMED)[n] for n in order]
    assert [r.rule for r in decide_standing(replace(view([]), cases=cases))[1]] == ["people", "seen", "presumed"]


@pytest.mark.parametrize("cases", [(URGENT, GAP), (GAP, URGENT)])
def test_what_is_known_to_be_wrong_is_said_before_what_nobody_has_looked_at(cases: tuple[OpenCase, ...]) -> None:
    assert [r.rule for r in decide_standing(replace(view([]), cases=cases))[1]] == ["urgent", "not_on_record"]


def test_a_sentence_that_two_reasons_share_is_said_once() -> None:
    twice = OpenCase(Level.HOLD, Reason("other", "seen"))
    assert len(decide_standing(replace(view([]), cases=[SEEN, twice]))[1]) == 1


# an upper cutoff beside the last line: which states leave the hazard bare
@pytest.mark.parametrize("backed", [False, True])
@pytest.mark.parametrize("upper", [State.PROVEN, State.LAPSED])
@pytest.mark.parametrize("lower", list(State))
def test_a_hazard_stands_bare_where_nothing_stands_or_its_last_line_does_not(
    upper: State, lower: State, backed: bool
) -> None:
    first, last = seen(role("dry_firing", 1, False), upper), seen(role("dry_firing", 2, True), lower)
    stands = lower in (State.PROVEN, State.DUE)
    is_bare = (not stands and not backed) or (not stands and upper is State.LAPSED)
    bare = bare_hazards(view([first, replace(last, backed=backed)]))
    assert bare == (("dry_firing",) if is_bare else ())


@pytest.mark.parametrize("state", list(State))
def test_a_hazard_that_does_not_stop_firing_never_stands_bare(state: State) -> None:
    assert bare_hazards(view([seen(role(SLOW.code, 1, True), state)])) == ()
