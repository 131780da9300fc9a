"""Failed sign-ins delay the next one: they are counted by user name and by address, known or not, in the database.

An attempt is counted as failed before the password is checked, and taken back if it was right. So concurrent attempts
all count, and no lock is held while a password is hashed. Running sessions are not affected.
"""

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction
from django.utils.crypto import salted_hmac

from fleet.accounts.models import Attempt

FORGOTTEN = timedelta(hours=24)  # after the last failure


@dataclass(frozen=True, slots=True)
class Patience:
    """`free` failures cost nothing; then the wait is 2 s, doubled each time, at most `longest` (common practice)."""

    free: int
    longest: timedelta

    def wait(self, failures: int) -> timedelta:
        """Return how long after the latest of `failures` failures no attempt is accepted."""
        doubled = min(max(failures - self.free, 0), 20)
        return min(timedelta(seconds=2**doubled if doubled else 0), self.longest)


# The wait for a name is short: otherwise anybody could lock its owner out.
NAME = Patience(free=4, longest=timedelta(minutes=1))
# Many people may share an address.
ADDRESS = Patience(free=19, longest=timedelta(minutes=15))


@dataclass(frozen=True, slots=True)
class Try:
    """One attempt to sign in under a name, from an address."""

    name: str
    address: str

    @property
    def subjects(self) -> dict[str, Patience]:
        """The hashed name and address under which it is counted, with their patience."""
        name = unicodedata.normalize("NFKC", self.name).strip().casefold()
        return {_subject("name", name): NAME, _subject("address", self.address): ADDRESS}


def book(tried: Try, at: datetime) -> timedelta:
    """Count an attempt as failed and return zero, or count nothing and return how long one must wait."""
    with transaction.atomic():
        rows = _locked(tried.subjects, at)
        wait = max((row.until - at for row in rows), default=timedelta(0))
        if wait > timedelta(0):
            return wait
        for row in rows:
            _counted(row, row.failures + 1 if at - row.last_at < FORGOTTEN else 1, tried.subjects[row.subject], at)
    return timedelta(0)


def succeeded(tried: Try, at: datetime) -> None:
    """Take a counted attempt back: the name's count returns to 0, the address has one failure less."""
    subjects = tried.subjects
    with transaction.atomic():
        for row in _locked(subjects, at):
            left = 0 if subjects[row.subject] is NAME else max(row.failures - 1, 0)
            _counted(row, left, subjects[row.subject], at)


def _locked(subjects: Iterable[str], at: datetime) -> list[Attempt]:
    """Return the rows of these subjects, created where missing and locked in one order."""
    Attempt.objects.bulk_create(
        (Attempt(subject=s, last_at=at, until=at) for s in sorted(subjects)), ignore_conflicts=True
    )
    found = Attempt.objects.select_for_update(no_key=True).filter(subject__in=list(subjects))
    return list(found.order_by("subject"))


def _counted(row: Attempt, failures: int, patience: Patience, at: datetime) -> None:
    row.failures, row.last_at, row.until = failures, at, at + patience.wait(failures)
    row.save(update_fields=["failures", "last_at", "until"])


def _subject(kind: str, value: str) -> str:
    return salted_hmac(f"gaugeglass sign-in {kind}", value, algorithm="sha256").hexdigest()
