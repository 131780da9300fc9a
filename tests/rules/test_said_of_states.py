"""What is said of one position, in full: the newest touch, the oldest failure, the newest proof."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date

import pytest

from fleet.calendar import Interval
from fleet.rules.values import AdoptedTerms, EntryFact, FiringAnswer, Override, ServiceMode, Standing
from fleet.rules.wording import asked_for, join_with_or
from tests.rules.build import LEFT_RIGHT, SEASON, Boiler, act, at, catalogue, ident, proof, see
from tests.rules.plant import Plant, look
from tests.rules.plant import proof as whole_proof


def said(boiler: Boiler, ref: str, days: float) -> str:
    return boiler.state_at(ref, at(days)).reason.sentence


PLUGGED = proof("siphon_b", passes_water=False)
FIFTEENTH = "Wed 15 Oct 2025"

SAID: list[tuple[Boiler, str, str]] = [
    (Boiler().service(), "limit", f"The high limit passed its limit trip on {FIFTEENTH}."),
    (
        Boiler().service().visit(2, proof("upper", "evaporation")).visit(3, proof("upper", "flush")),
        "upper",
        "The upper cutoff passed its flush on Sat 18 Oct 2025.",
    ),
    (
        Boiler().service().visit(2, proof("upper", "evaporation")),
        "upper",
        "The upper cutoff passed its evaporation test on Fri 17 Oct 2025.",
    ),
    (
        Boiler().service().visit(1, act("limit", "adjust")).visit(2, act("limit", "disconnect")),
        "limit",
        "The high limit was disconnected on Fri 17 Oct 2025 and needs limit trip since.",
    ),
    (
        Boiler().service().visit(1, act("limit", "disconnect")).visit(2, act("limit", "adjust")),
        "limit",
        "The high limit was adjusted on Fri 17 Oct 2025 and needs limit trip since.",
    ),
    (
        Boiler().service().visit(1, act("upper", "adjust")),
        "upper",
        "The upper cutoff was adjusted on Thu 16 Oct 2025 and needs evaporation test or slow drain since.",
    ),
    (
        Boiler().service().visit(1, act("siphon_b", "clear")),
        "limit",
        "The high limit was cut off by work on its pipe on Thu 16 Oct 2025 and needs limit trip since.",
    ),
    (
        Boiler().service().visit(1, see("limit", "jumper_found")).visit(2, proof("limit", trip_psi=13.5)),
        "limit",
        "Jumper, wedge, tape or plug found: high limit. (Thu 16 Oct 2025)",
    ),
    (
        Boiler().service().visit(1, proof("limit", trip_psi=13.5)).visit(2, see("limit", "jumper_found")),
        "limit",
        "The high limit tripped only at 13.5 psi. (Thu 16 Oct 2025)",
    ),
    (
        Boiler().service().visit(1, PLUGGED),
        "limit",
        "The high limit hangs on a failed path: The limit's siphon is plugged: every control and gauge on it is blind. "
        "(Thu 16 Oct 2025)",
    ),
    (
        Boiler().service().visit(1, PLUGGED).visit(2, act("siphon_b", "clear"), proof("siphon_b")),
        "limit",
        "The high limit was blind behind the limit's siphon since Thu 16 Oct 2025 and has not acted since.",
    ),
    (
        Boiler().visit(1, proof("limit")),
        "upper",
        "The upper cutoff has never been proven since it was fitted.",
    ),
    (
        Boiler().service().visit(1, proof("limit", trip_psi=13.5)).visit(2, proof("limit")),
        "limit",
        "The high limit tripped only at 13.5 psi. (Thu 16 Oct 2025) "
        "It passed since with nothing done: it still counts as failed.",
    ),
]


@pytest.mark.parametrize(("boiler", "ref", "sentence"), SAID)
def test_what_is_known_is_said_in_full(boiler: Boiler, ref: str, sentence: str) -> None:
    assert said(boiler, ref, 9 if ref == "limit" else 4) == sentence


LATER = [
    (8.0, "Flush of the upper cutoff is due since Wed 22 Oct 2025; last passed Wed 15 Oct 2025."),
    (40.0, "Flush of the upper cutoff has lapsed since Sat 15 Nov 2025; last passed Wed 15 Oct 2025."),
]


@pytest.mark.parametrize(("days", "sentence"), LATER)
def test_due_and_lapsed_say_since_when_and_what_passed_last(days: float, sentence: str) -> None:
    assert said(Boiler().service(), "upper", days) == sentence


def test_what_never_passed_is_not_said_to_have_passed() -> None:
    never = said(Plant(), "air", 1)
    assert never == (
        "Combustion air check of the combustion air is due since Mon 01 Sep 2025; "
        "never passed since it was fitted Mon 01 Sep 2025."
    )


def test_the_shop_counts_as_the_fitting_and_not_as_a_pass() -> None:
    terms = AdoptedTerms(None, SEASON, overrides={"lever_lift": Override(Interval.parse("36 mo"), "", 0, "in writing")})
    sentence = said(Boiler(terms=(terms,)).service(), "valve", 360)
    assert sentence.startswith("Pop test of the safety valve is due since")
    assert sentence.endswith("never passed since it was fitted Mon 01 Sep 2025.")


@pytest.mark.parametrize(
    ("declared", "sentence"),
    [
        (
            {"slow_drain": date(2025, 9, 20), "evaporation": date(2025, 9, 25)},
            "The upper cutoff is only declared proven (evaporation test, Thu 25 Sep 2025): no visit stands behind it.",
        ),
        (
            {"slow_drain": date(2025, 9, 26), "evaporation": date(2025, 9, 25)},
            "The upper cutoff is only declared proven (slow drain, Fri 26 Sep 2025): no visit stands behind it.",
        ),
    ],
)
def test_of_two_declared_proofs_the_newer_is_named(declared: Mapping[str, date], sentence: str) -> None:
    boiler = Boiler()
    boiler.fittings = [replace(f, declared=declared) if f.position == ident("upper") else f for f in boiler.fittings]
    segment = boiler.state_at("upper", at(1))
    assert (segment.reason.sentence, segment.marks) == (sentence, ("declared",))


def test_put_back_in_service_with_its_proof_lapsed_it_says_so() -> None:
    boiler = Boiler().service().goes(20, ServiceMode.LAID_UP_DRY).goes(500, ServiceMode.IN_SERVICE)
    assert said(boiler, "limit", 501) == (
        "The high limit was put back in service with its proof lapsed on Sat 27 Feb 2027 and needs limit trip since."
    )


def test_of_two_ways_it_is_blind_the_older_is_told() -> None:
    boiler = Plant().service().visit(1, PLUGGED).visit(2, look("circuit", "jumper_found"))
    boiler.visit(3, act("siphon_b", "clear"), proof("siphon_b"), act("circuit", "jumper_removed"))
    boiler.visit(4, whole_proof("circuit"))
    assert "blind behind the limit's siphon since Thu 16 Oct 2025" in said(boiler, "limit", 5)


LISTS = [
    ([], ""),
    (["flush"], "flush"),
    (["slow drain", "evaporation"], "evaporation or slow drain"),
    (["slow drain", "flush", "evaporation"], "evaporation, flush or slow drain"),
]


@pytest.mark.parametrize(("names", "told"), LISTS)
def test_what_may_be_chosen_from_is_listed_by_name(names: list[str], told: str) -> None:
    assert join_with_or(names) == join_with_or(reversed(names)) == told


def test_what_must_all_pass_is_listed_by_name_whatever_the_order_of_the_needs() -> None:
    needs = [{"limit_trip"}, {"slow_drain", "evaporation"}]
    told = [asked_for(Boiler().evidence(), n) for n in (needs, needs[::-1])]
    assert told == ["evaporation test or slow drain and limit trip"] * 2


@pytest.mark.parametrize(
    ("first", "second", "told"),
    [
        (PLUGGED, look("circuit", "jumper_found"), "The limit's siphon is plugged"),
        (look("circuit", "jumper_found"), PLUGGED, "Jumper, wedge, tape or plug found: limit circuit."),
    ],
)
def test_of_two_failed_paths_the_older_is_told(first: EntryFact, second: EntryFact, told: str) -> None:
    boiler = Plant().service().visit(1, first).visit(2, second)
    assert said(boiler, "limit", 3).startswith(f"The high limit hangs on a failed path: {told}")


@pytest.mark.parametrize(("days", "day"), [(1, "Thu 16"), (2, "Fri 17")])
def test_a_standing_follows_the_newest_word_on_a_state_that_stays_as_bad(days: float, day: str) -> None:
    boiler = Boiler().service().visit(1, act("valve", "repair")).visit(2, act("valve", "repair"))
    assert f"on {day} Oct 2025 and needs" in boiler.standing_at(at(days)).reasons[0].sentence


def test_the_next_thing_to_do_is_the_first_act_of_what_is_worst() -> None:
    boiler = Boiler().service().visit(1, proof("limit", trip_psi=13.5))
    assert boiler.standing_at(at(1)).then == catalogue().findings["limit_failed"].first_act
    assert boiler.standing_at(at(0.5)).then == "Nothing is due."


BESIDE_CLEAR = {
    "a cause that nobody named": (see("limit", "reset_pressed"),),
    "an owed test": (act("fuel", "repair"), whole_proof("fuel"), whole_proof("fuel", "fuel_valve_leak_test")),
    "a routine deficiency": (whole_proof("upper", "flush", sediment="very_dirty"),),
}


@pytest.mark.parametrize("entries", BESIDE_CLEAR.values(), ids=BESIDE_CLEAR)
def test_clear_says_only_what_it_rests_on_where_something_is_open_or_asked_for(entries: tuple[EntryFact, ...]) -> None:
    never_done = (
        whole_proof("burner", "soap_test", bubbles=False, smell=False),
        whole_proof("fuel", "fuel_valve_leak_test"),
    )
    who = "technician|gas_train"
    boiler = Plant().service().visit(0.5, *never_done, who=who)
    boiler.visit(1, *entries, leave=LEFT_RIGHT, kind="follow_up", who=who)
    standing, answer = boiler.standing_at(at(2)), boiler.judged().readiness[-1].answer
    assert (standing.standing, answer) == (Standing.CLEAR, FiringAnswer.SOMETHING_DOES)
    assert standing.reasons[0].sentence == "8 protections on record and proven."
    assert "asked" not in standing.then
