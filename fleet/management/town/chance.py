"""Seeded random numbers: one stream per name, so that one boiler's story does not depend on another's."""

from collections.abc import Sequence
from datetime import timedelta
from random import Random
from typing import TypeVar

T = TypeVar("T")
YEAR = timedelta(days=365.25)


class Chance:
    """One random stream, and the streams that branch off it by name."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.random = Random(name)  # seeded by SHA-512 of the text: the same on every machine

    def branch(self, *names: object) -> "Chance":
        """Return the stream of this name. Drawing from it changes no other stream."""
        return Chance("/".join([self.name, *map(str, names)]))

    def happens(self, share: float) -> bool:
        """Return True in this share of cases, 0 to 1."""
        return self.random.random() < share

    def one_of(self, choices: Sequence[T]) -> T:
        """Return one of the choices, all equally likely."""
        return choices[self.random.randrange(len(choices))]

    def shuffle(self, choices: Sequence[T]) -> list[T]:
        """Return all choices in random order."""
        return self.random.sample(list(choices), len(choices))

    def whole_number(self, low: int, high: int) -> int:
        """Return a whole number from `low` to `high`, both included."""
        return self.random.randint(low, high)

    def reading_near(self, value: float, spread: float, digits: int = 1) -> float:
        """Return a reading within `spread` of a value, rounded to `digits`."""
        return round(value + self.random.uniform(-spread, spread), digits)

    def waiting_time(self, per_year: float) -> timedelta:
        """Return a random time until an event that happens `per_year` times a year."""
        return YEAR * self.random.expovariate(per_year)
