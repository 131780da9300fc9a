"""Seeded luck: a stream for each name, so that one boiler's story does not hang on another's."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from random import Random
from typing import TypeVar

T = TypeVar("T")
YEAR = timedelta(days=365.25)


class Chance:
    """One stream of luck, and those that branch off it by name."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.random = Random(name)  # by SHA-512 of the text: the same on every machine

    def of(self, *names: object) -> "Chance":
        """The stream of this name: drawing from it moves no other."""
        return Chance("/".join([self.name, *map(str, names)]))

    def happens(self, share: float) -> bool:
        """True in this share of cases."""
        return self.random.random() < share

    def one_of(self, choices: Sequence[T]) -> T:
        """One of them, each as likely."""
        return choices[self.random.randrange(len(choices))]

    def shuffled(self, choices: Sequence[T]) -> list[T]:
        """All of them in any order."""
        return self.random.sample(list(choices), len(choices))

    def whole(self, low: int, high: int) -> int:
        """A whole number, both ends included."""
        return self.random.randint(low, high)

    def about(self, value: float, spread: float, digits: int = 1) -> float:
        """A reading near a value, as it is written down."""
        return round(value + self.random.uniform(-spread, spread), digits)

    def wait(self, per_year: float) -> timedelta:
        """How long until something that happens at this rate."""
        return YEAR * self.random.expovariate(per_year)

    def within(self, since: datetime, until: datetime) -> datetime:
        """An instant between two, to the minute."""
        minutes = max(0, int((until - since).total_seconds() // 60))
        return since + timedelta(minutes=self.whole(0, minutes))
