"""What the calculator shows and refuses by is what was approved, word for word."""

from tests.engineering.texts import APPROVED, shown_texts


def test_every_word_and_every_bound_of_the_calculator_is_the_approved_one() -> None:
    assert shown_texts().splitlines() == APPROVED.read_text(encoding="utf-8").splitlines()
