"""The words of the visit sheet: every reading of the shipped catalogue has a question and answers in each language."""

import re

import pytest

from fleet.catalog import field_words
from fleet.planning import work_order
from fleet.rules.answers.readiness import LEAVING_CHECKS
from tests.cast import ROOT
from tests.portfolio.sheets import CATALOGUE

READINGS = [(p, spec) for p in CATALOGUE.procedures.values() for spec in p.readings.values()]


@pytest.mark.parametrize("language", field_words.LANGUAGES)
def test_every_reading_is_asked_in_every_language(language: str) -> None:
    table = field_words.read_words("readings.yaml")
    wrong = []
    for procedure, spec in READINGS:
        words = table.get(f"{procedure.code}.{spec.name}") or table.get(spec.name) or {language: []}
        if len(words[language]) != (3 if spec.type == "bool" else 1) or not all(words[language]):
            wrong.append((procedure.code, spec.name))
    assert wrong == []


@pytest.mark.parametrize("language", field_words.LANGUAGES)
def test_every_answer_of_a_choice_has_its_words_in_every_language(language: str) -> None:
    table = field_words.read_words("choices.yaml")
    codes = {(spec.name, code) for _, spec in READINGS for code in spec.choices}
    assert [c for c in codes if not (table.get(f"{c[0]}.{c[1]}") or table.get(c[1]) or {}).get(language)] == []


@pytest.mark.parametrize("language", field_words.LANGUAGES)
def test_opposite_answers_differ(language: str) -> None:
    questions = [field_words.reading_question(p.code, s, language) for p, s in READINGS if s.type == "bool"]
    questions += [q for p in CATALOGUE.procedures.values() if (q := field_words.outcome_question(p, language))]
    assert [q for q in questions if q.yes == q.no or not q.yes] == []


def test_no_words_are_kept_of_a_reading_that_no_procedure_has() -> None:
    names = {spec.name for _, spec in READINGS} | {f"{p.code}.{spec.name}" for p, spec in READINGS}
    assert field_words.read_words("readings.yaml").keys() <= names
    assert field_words.read_words("outcomes.yaml").keys() <= CATALOGUE.procedures.keys()


def test_what_a_pass_needs_of_every_required_answer_is_known() -> None:
    """A required answer without one would be claimed a pass whatever was seen."""
    unknown = []
    for procedure, spec in READINGS:
        expected, possible = field_words.expected_answers(spec), {"bool": {"yes", "no"}, "choice": set(spec.choices)}
        if spec.type != "number" and spec.required and not (expected and set(expected) < possible[spec.type]):
            unknown.append((procedure.code, spec.name))
    assert unknown == []


@pytest.mark.parametrize(
    ("procedure", "reading", "expected"),
    [
        ("flush", "burner_stopped", ("yes",)),
        ("flush", "water", ("runs",)),
        ("flush", "locked_out", ()),
        ("flush", "sediment", ("clear", "dirty")),
        ("backflow_check", "drips", ("no",)),
        ("probe_clean_inspect", "found", ("clean", "scaled")),
        ("combustion_test", "co_trend", ("steady",)),
        ("level_observation", "burner_firing", ()),
    ],
)
def test_a_pass_needs_what_the_catalogue_accepts(procedure: str, reading: str, expected: tuple[str, ...]) -> None:
    assert tuple(field_words.expected_answers(CATALOGUE.procedures[procedure].readings[reading])) == expected


def test_every_test_that_can_fail_has_an_answer_that_says_so() -> None:
    """Without one the sheet could only claim a pass: what only measures is asked first whether the device acted."""
    mute = [
        p.code
        for p in CATALOGUE.procedures.values()
        if p.proof == "full"
        and not field_words.outcome_question(p, "en")
        and not any(field_words.expected_answers(spec) for spec in p.readings.values() if spec.required)
    ]
    assert mute == []


def sections_of(language: str) -> dict[str, dict[str, str]]:
    return dict(field_words.read_words(f"catalogue_{language}.yaml"))


@pytest.mark.parametrize("language", sorted(set(field_words.LANGUAGES) - {"en"}))
def test_every_text_that_is_met_at_a_boiler_stands_in_every_language(language: str) -> None:
    """A caution or a first act that somebody cannot read is none."""
    told = sections_of(language)
    holds = {code for code, rule in CATALOGUE.findings.items() if rule.level == "hold"}
    wanted = {
        "procedures": set(CATALOGUE.procedures),
        "cautions": {p.code for p in CATALOGUE.procedures.values() if p.caution},
        "observations": set(CATALOGUE.observations),
        "actions": set(CATALOGUE.actions),
        "kinds": set(CATALOGUE.kinds),
        "roles": set(CATALOGUE.roles),
        "accept": {spec.accept for _, spec in READINGS if spec.type == "number" and spec.accept},
        "first_acts": holds,
        "leaving_checks": set(LEAVING_CHECKS),
        "groups": {str(g.number) for g in work_order.GROUPS},
        "groups_always": {str(g.number) for g in work_order.GROUPS},
        "caution": {"advice"},
    }
    assert {section: codes - told[section].keys() for section, codes in wanted.items()} == {s: set() for s in wanted}


@pytest.mark.parametrize("language", sorted(set(field_words.LANGUAGES) - {"en"}))
def test_every_step_of_every_procedure_stands_in_every_language(language: str) -> None:
    same = [p.code for p in CATALOGUE.procedures.values() if field_words.procedure_steps(p, language) is p.steps]
    assert [code for code in same if CATALOGUE.procedures[code].steps] == []


@pytest.mark.parametrize("language", sorted(set(field_words.LANGUAGES) - {"en"}))
def test_a_first_act_defers_in_every_language_where_the_english_one_does(language: str) -> None:
    told, deference = sections_of(language)["first_acts"], {"es": "persona con licencia decid"}[language]
    english = {c: r.first_act for c, r in CATALOGUE.findings.items() if r.level == "hold"}
    deferring = {code for code, act in english.items() if "a licensed person decide" in act}
    assert {code for code in deferring if deference not in told[code]} == set()


def test_the_words_of_the_sheet_itself_stand_in_every_language() -> None:
    words = field_words.read_words("sheet.yaml")
    assert {key for key, said in words.items() if said.keys() != set(field_words.LANGUAGES)} == set()
    names = re.compile(r"\{(\w+)\}")
    assert {k for k, said in words.items() if len({frozenset(names.findall(t)) for t in said.values()}) > 1} == set()


def test_the_sheet_asks_for_no_words_that_it_has_not() -> None:
    words, folder = field_words.read_words("sheet.yaml"), ROOT / "fleet/web/static/web/sheet"
    keys = {key for path in folder.glob("*.js") for key in re.findall(r'\bsay\("(\w+)"', path.read_text("utf-8"))}
    assert len(keys) > 80
    assert keys <= words.keys()
