"""What the calculator shows and refuses by is what was approved, word for word."""

from dataclasses import is_dataclass
from importlib import import_module
from inspect import getmembers, isclass
from pkgutil import walk_packages

import fleet.engineering
from tests.engineering.texts import APPROVED, shown_texts


def test_every_word_and_every_bound_of_the_calculator_is_the_approved_one() -> None:
    assert shown_texts().splitlines() == APPROVED.read_text(encoding="utf-8").splitlines()


def test_what_a_formula_answers_never_changes_afterwards() -> None:
    names = [m.name for m in walk_packages(fleet.engineering.__path__, "fleet.engineering.")]
    classes = {value for name in names for _, value in getmembers(import_module(name), isclass)}
    answers = [one for one in classes if is_dataclass(one) and one.__module__.startswith("fleet.engineering")]
    assert len(answers) > 20
    assert [
        one.__name__ for one in answers if not one.__dataclass_params__.frozen or "__slots__" not in vars(one)
    ] == []
