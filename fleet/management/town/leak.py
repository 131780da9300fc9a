"""The make-up meter of a boiler, and a return line that leaks for a while."""

from datetime import datetime, timedelta

from fleet.management.town.chance import Chance
from fleet.management.town.story_values import Failure

LEAK_RULES = ("makeup_rising", "makeup_rising_again")


class Leak:
    """Water use of a boiler in gal a day. From a hidden instant on it is threefold and grows until the repair."""

    def __init__(self, chance: Chance, begin: datetime, rate: float = 0.05) -> None:
        self.chance, self.last = chance, begin
        self.usual = chance.reading_near(8.0, 3.0)
        self.reading = float(chance.whole_number(2_000, 60_000))
        self.starts: datetime | None = begin + timedelta(days=150) + chance.waiting_time(rate)
        self.is_mended = False
        self.is_paused = False
        self.leaking_readings = 0

    def read_meter(self, at: datetime) -> tuple[float, bool]:
        """Return the meter's figure, and whether the leak is noticed by now: at the third reading that shows it."""
        self._run_until(at)
        leaks = self.starts is not None and at > self.starts + timedelta(days=10)
        self.leaking_readings = self.leaking_readings + 1 if leaks else 0
        return self.reading, self.leaking_readings >= 3

    def pause_use(self, at: datetime) -> None:
        """Stop the use: a boiler laid up takes no water."""
        self._run_until(at)
        self.is_paused = True

    def resume_use(self, at: datetime) -> None:
        """Resume the use: the boiler is in service again."""
        self._run_until(at)
        self.is_paused = False

    def end_leak(self, boiler: str, at: datetime) -> Failure:
        """End the leak, draw the next one, and return the repaired leak as a failure."""
        assert self.starts is not None
        failure = Failure(
            boiler,
            "meter",
            trouble="return_leaks",
            failed_at=self.starts,
            rules=LEAK_RULES,
            how="found",
            found_at=at,
            repaired_at=at,
        )
        self.starts, self.is_mended, self.leaking_readings = at + self.chance.waiting_time(0.05), False, 0
        return failure

    def _run_until(self, at: datetime) -> None:
        days = 0.0 if self.is_paused else (at - self.last).total_seconds() / 86_400
        times = 1.0
        if self.starts is not None and at > self.starts:
            times = 3.2 + 0.02 * (at - self.starts).days
        self.reading = round(self.reading + days * self.usual * times * self.chance.reading_near(1.0, 0.12, 2), 0)
        self.last = at
