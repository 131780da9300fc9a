"""The make-up meter of a boiler, and a return line that leaks for a while."""

from datetime import datetime, timedelta

from fleet.management.town.chance import Chance
from fleet.management.town.told import Failure

RULES = ("makeup_rising", "makeup_rising_again")


class Leak:
    """Water use of a boiler in gal a day. From a hidden instant on it is threefold and grows until the repair."""

    def __init__(self, chance: Chance, begin: datetime, rate: float = 0.05) -> None:
        self.chance, self.last = chance, begin
        self.usual = chance.about(8.0, 3.0)
        self.reading = float(chance.whole(2_000, 60_000))
        self.starts: datetime | None = begin + timedelta(days=150) + chance.wait(rate)
        self.mended = False
        self.paused = False
        self.seen = 0

    def read(self, at: datetime) -> tuple[float, bool]:
        """Return the meter's figure, and whether the leak is noticed by now: at the third reading that shows it."""
        self._run(at)
        leaks = self.starts is not None and at > self.starts + timedelta(days=10)
        self.seen = self.seen + 1 if leaks else 0
        return self.reading, self.seen >= 3

    def pause(self, at: datetime) -> None:
        """Stop the use: a boiler laid up takes no water."""
        self._run(at)
        self.paused = True

    def resume(self, at: datetime) -> None:
        """Resume the use: the boiler is in service again."""
        self._run(at)
        self.paused = False

    def told(self, boiler: str, at: datetime) -> Failure:
        """End the leak, draw the next one, and return the repaired leak as a failure."""
        assert self.starts is not None
        failure = Failure(boiler, "meter", "return_leaks", self.starts, RULES, "found", at, repaired_at=at)
        self.starts, self.mended, self.seen = at + self.chance.wait(0.05), False, 0
        return failure

    def _run(self, at: datetime) -> None:
        days = 0.0 if self.paused else (at - self.last).total_seconds() / 86_400
        times = 1.0
        if self.starts is not None and at > self.starts:
            times = 3.2 + 0.02 * (at - self.starts).days
        self.reading = round(self.reading + days * self.usual * times * self.chance.about(1.0, 0.12, 2), 0)
        self.last = at
