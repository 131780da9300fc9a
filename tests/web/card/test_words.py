"""The card's words: each has a Spanish text, the compiled catalog says what its source says, each hold has its act."""

import gettext
from collections import Counter

import pytest

from fleet.cards.caretaker_words import CaretakerAct, act_for_finding, caretaker_acts, caretaker_rules, told_troubles
from fleet.cards.questions import PROCEDURES, ask_readings
from fleet.catalog.field_words import LANGUAGES
from fleet.rules.catalogue import Catalogue
from fleet.rules.wording import ADVICE_CAUTION
from tests.portfolio.sheets import CATALOGUE
from tests.web.card.messages import COMPILED, SOURCE, compile_messages, read_source, said_by_code, said_by_templates

# What must never be told to people in these dangers, by the act: each of these findings has one of its own.
DANGERS = {
    "gas": {"people_in_danger", "fuel_piping_leaks"},
    "carbon_monoxide": {"ambient_co", "soot_with_flue_gas", "air_or_vent_with_co", "spill_tripped_found"},
    "flooded": {"flooded"},
    "water": {"glass_empty_firing", "glass_empty_off", "glass_full", "glass_unreadable", "dry_fired"},
    "steam": {"valve_opened", "pressure_over_valve", "valve_did_not_open"},
}


@pytest.fixture(scope="module")
def shipped() -> Catalogue:
    return CATALOGUE


@pytest.fixture(scope="module")
def spanish() -> dict[str, str]:
    return read_source(SOURCE.read_text(encoding="utf-8"))


def test_every_text_of_the_templates_and_the_code_has_a_spanish_one(spanish: dict[str, str]) -> None:
    said = {*said_by_templates(), *said_by_code()}
    assert len(said) > 40
    assert sorted(text for text in said if not spanish.get(text)) == []


def test_the_cautions_that_are_looked_up_have_a_spanish_text(spanish: dict[str, str], shipped: Catalogue) -> None:
    cautions = {shipped.procedures[code].caution for code in PROCEDURES.values()}
    assert sorted(text for text in {ADVICE_CAUTION, *cautions} if not spanish.get(text)) == []


def test_the_source_holds_nothing_that_nobody_says(spanish: dict[str, str], shipped: Catalogue) -> None:
    cautions = {shipped.procedures[code].caution for code in PROCEDURES.values()}
    said = {"", ADVICE_CAUTION, *cautions, *said_by_templates(), *said_by_code()}
    assert sorted(spanish.keys() - said) == []


def test_the_compiled_catalog_says_what_its_source_says(spanish: dict[str, str]) -> None:
    assert COMPILED.read_bytes() == compile_messages(spanish)
    with COMPILED.open("rb") as file:
        compiled = gettext.GNUTranslations(file)
    assert [text for text in spanish if text and compiled.gettext(text) != spanish[text]] == []


def test_a_text_that_was_changed_in_the_source_alone_is_found(spanish: dict[str, str]) -> None:
    assert COMPILED.read_bytes() != compile_messages({**spanish, "SAVE": "GUARDE"})


def test_every_finding_that_holds_a_boiler_has_one_act_of_a_caretaker(shipped: Catalogue) -> None:
    holds = {code for code, rule in shipped.findings.items() if rule.level == "hold"}
    named = Counter(code for act in caretaker_acts() for code in act.findings)
    assert sorted(holds - named.keys()) == []
    assert sorted(code for code, count in named.items() if count > 1 or code not in holds) == []


@pytest.mark.parametrize(("code", "findings"), DANGERS.items())
def test_in_danger_to_people_nobody_is_told_to_stay_at_a_switch(code: str, findings: set[str]) -> None:
    assert {act.code for f in findings if (act := act_for_finding(f))} == {code}


@pytest.mark.parametrize("act", caretaker_acts(), ids=lambda act: act.code)
def test_no_act_has_anybody_reset_add_water_or_fire(act: CaretakerAct) -> None:
    says = act.en.lower()
    assert not [word for word in ("reset it", "press", "restart", "refill", "light it") if word in says]
    assert says.count("water") == says.count("no water") + says.count("hot water") + says.count("out of the water")


def test_every_trouble_is_known_to_the_shipped_catalogue_and_shows_the_act_of_its_hold(shipped: Catalogue) -> None:
    acts = {act.code for act in caretaker_acts()}
    for trouble in told_troubles():
        finding = shipped.observations[trouble.observes].finding
        expected = act_for_finding(finding)
        assert trouble.act_code in acts | {""}, trouble.code
        assert expected is None or trouble.act == expected, trouble.code


@pytest.mark.parametrize("kind", ["do", "do_not", "danger"])
def test_every_rule_stands_in_both_languages(kind: str) -> None:
    sides = [caretaker_rules(kind, language) for language in LANGUAGES]
    assert len(sides[0]) == len(sides[1]) > 0
    assert all(rule.short and rule.more for side in sides for rule in side)


def test_the_card_asks_the_four_things_of_a_flush_and_of_a_lower_cutoff_that_it_stayed_out(shipped: Catalogue) -> None:
    flush = shipped.procedures["flush"]
    for role, last in (("upper_cutoff", "recovery"), ("lower_cutoff", "locked_out")):
        asked = ask_readings(flush, role, "en")
        assert [asked[0].name, asked[-1].name] == ["burner_firing", last]


@pytest.mark.parametrize(
    ("reading", "value", "act"),
    [
        ("water", "runs", ""),
        ("water", "little", "water"),
        ("water", "none", "water"),
        ("burner_stopped", "yes", ""),
        ("burner_stopped", "no", "burner_off"),
        ("recovery", "prompt", ""),
        ("recovery", "slow", "water"),
        ("recovery", "none", "water"),
    ],
)
def test_an_answer_that_makes_a_hold_shows_its_act(shipped: Catalogue, reading: str, value: str, act: str) -> None:
    asked = {r.name: r for r in ask_readings(shipped.procedures["flush"], "upper_cutoff", "en")}
    answer = next(a for a in asked[reading].answers if a.value == value)
    assert (answer.act.code if answer.act else "") == act
