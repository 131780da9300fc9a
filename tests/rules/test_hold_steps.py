"""A hold's alert keeps up: it says the present worst reason, and a further cause raises it anew once a visit."""

from dataclasses import replace
from uuid import uuid4

from fleet.rules.answers.one_event import say_once, unsaid_items
from fleet.rules.values import Condition, ConditionStep, FiringAnswer, Level, MissingItem, ReadinessAnswer
from tests.rules.build import act, at
from tests.rules.plant import Plant, look, proof

LATE = proof("limit", trip_psi=13.5)
GAS = look(None, "gas_smell")


def hold_of(boiler: Plant) -> Condition:
    (condition,) = [c for c in boiler.judged().conditions if c.condition == "hold"]
    return condition


def left(boiler: Plant, left_as: str) -> Plant:
    boiler.visits[-1] = replace(boiler.visits[-1], left_as=left_as)
    return boiler


def test_gas_that_is_smelt_later_is_what_the_alert_says_and_it_is_raised_anew() -> None:
    hold = hold_of(Plant().service().visit(1, LATE).visit(3, GAS))
    assert hold.sentence.startswith("The high limit tripped only at 13.5 psi.")
    assert [hold.sentence_at(at(day)).partition(".")[0] for day in (2, 3)] == [
        "The high limit tripped only at 13",
        "Smell of gas",
    ]
    assert [hold.times_raised(at(day)) for day in (1, 2, 3)] == [1, 1, 2]


def test_once_the_gas_is_gone_it_says_what_is_left() -> None:
    boiler = Plant().service().visit(1, LATE).visit(3, GAS)
    soap_test = proof("burner", "soap_test", bubbles=False, smell=False)
    hold = hold_of(boiler.visit(4, act("burner", "repair"), soap_test, who="technician|gas_train"))
    assert "tripped only at 13.5" in hold.sentence_at(at(5))
    assert hold.times_raised(at(5)) == 2


def test_two_causes_of_one_visit_raise_it_once() -> None:
    hold = hold_of(Plant().service().visit(1, LATE, look("glass", "glass_broken")))
    assert hold.times_raised(at(9)) == 1
    twice = hold_of(
        Plant().service().visit(1, LATE).visit(2, look("glass", "glass_broken"), look("valve", "seal_broken"))
    )
    assert twice.times_raised(at(9)) == 2


def test_a_boiler_left_locked_off_tells_the_feed_only_but_for_danger_to_people() -> None:
    quiet = hold_of(left(Plant().service().visit(1, LATE).visit(2, look("glass", "glass_broken")), "off_locked"))
    loud = hold_of(left(Plant().service().visit(1, LATE).visit(2, GAS), "off_locked"))
    assert (quiet.times_raised(at(9)), loud.times_raised(at(9))) == (1, 2)


def test_the_alert_tells_its_steps_in_the_order_in_which_they_came() -> None:
    boiler = Plant().service().visit(1, LATE)
    causes = [look("glass", "glass_broken"), look("valve", "seal_broken"), proof("siphon_a", passes_water=False)]
    causes += [look("lower", "probe_bridged"), look("upper", "jumper_found"), GAS]
    for day, cause in enumerate(causes, start=2):
        boiler.visit(day, cause)
    steps = [step.at for step in hold_of(boiler).steps]
    assert steps == [at(day) for day in range(2, 2 + len(causes))]


def test_what_a_hold_will_say_later_is_not_yet_said_by_it() -> None:
    later_step = ConditionStep(at(20), "The feeder has lapsed.")
    hold = Condition("hold", uuid4(), at(1), None, level=Level.HOLD, sentence="The limit failed.", steps=(later_step,))
    items = tuple(MissingItem("hold", sentence) for sentence in ("The limit failed.", "The feeder has lapsed."))
    answer = ReadinessAnswer(uuid4(), at(1), FiringAnswer.SOMETHING_DOES, items, ())
    for day, unsaid in ((19, "The feeder has lapsed."), (20, "The limit failed."), (21, "The limit failed.")):
        assert [item.sentence for item in unsaid_items(hold, answer, at(day))] == [unsaid]


def test_a_thing_that_an_open_deficiency_and_a_state_say_is_one_line() -> None:
    said = (
        "Hold open since Thu 16 Oct 2025: The glass broke.",
        "The glass broke. (Thu 16 Oct 2025)",
        "The glass broke.",
    )
    path = "The gauge hangs on a failed path: The siphon is plugged. (Thu 16 Oct 2025)"
    items = [MissingItem("hold", sentence) for sentence in (*said, path, "The siphon is plugged.", "It broke.")]
    assert say_once(items) == (said[0], path, "It broke.")


def test_no_alert_says_twice_what_several_found_to_be_failed() -> None:
    boiler = Plant().service().visit(1, look("valve", "valve_opened_under_pressure"), GAS, kind="follow_up")
    lines = hold_of(boiler).lines
    assert [line for line in lines if "high limit is presumed failed" in line] == [
        "Hold open since Thu 16 Oct 2025: The safety valve opened under pressure: the high limit is presumed failed."
    ]
