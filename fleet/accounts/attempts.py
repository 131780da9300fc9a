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

FORGET_AFTER = timedelta(hours=24)  # after the last failure


@dataclass(frozen=True, slots=True)
class Patience:
    """`free` failures cost nothing; then the wait is 2 s, doubled each time, at most `longest` (common practice)."""

    free: int
    longest: timedelta

    def wait_after(self, failures: int) -> timedelta:
        """Return how long after the latest of `failures` failures no attempt is accepted."""
        doubled = min(max(failures - self.free, 0), 20)
        return min(timedelta(seconds=2**doubled if doubled else 0), self.longest)


# The wait for a name is short: otherwise anybody could lock its owner out.
NAME_PATIENCE = Patience(free=4, longest=timedelta(minutes=1))
# Many people may share an address.
ADDRESS_PATIENCE = Patience(free=19, longest=timedelta(minutes=15))


@dataclass(frozen=True, slots=True)
class SignInTry:
    """One attempt to sign in under a name, from an address."""

    name: str
    address: str

    @property
    def subjects(self) -> dict[str, Patience]:
        """The hashed name and address under which it is counted, with their patience."""
        name = unicodedata.normalize("NFKC", self.name).strip().casefold()
        return {_hash_subject("name", name): NAME_PATIENCE, _hash_subject("address", self.address): ADDRESS_PATIENCE}


def book_attempt(attempt: SignInTry, at: datetime) -> timedelta:
    """Count an attempt as failed and return zero, or count nothing and return how long one must wait."""
    with transaction.atomic():
        rows = _lock_rows(attempt.subjects, at)
        wait = max((row.until - at for row in rows), default=timedelta(0))
        if wait > timedelta(0):
            return wait
        for row in rows:
            _write_count(
                row, row.failures + 1 if at - row.last_at < FORGET_AFTER else 1, attempt.subjects[row.subject], at
            )
    return timedelta(0)


def record_success(attempt: SignInTry, at: datetime) -> None:
    """Take a counted attempt back: the name's count returns to 0, the address has one failure less."""
    subjects = attempt.subjects
    with transaction.atomic():
        for row in _lock_rows(subjects, at):
            left = 0 if subjects[row.subject] is NAME_PATIENCE else max(row.failures - 1, 0)
            _write_count(row, left, subjects[row.subject], at)


def _lock_rows(subjects: Iterable[str], at: datetime) -> list[Attempt]:
    """Return the rows of these subjects, created where missing and locked in one order."""
    Attempt.objects.bulk_create(
        (Attempt(subject=s, last_at=at, until=at) for s in sorted(subjects)), ignore_conflicts=True
    )
    rows = Attempt.objects.select_for_update(no_key=True).filter(subject__in=list(subjects))
    return list(rows.order_by("subject"))


def _write_count(row: Attempt, failures: int, patience: Patience, at: datetime) -> None:
    row.failures, row.last_at, row.until = failures, at, at + patience.wait_after(failures)
    row.save(update_fields=["failures", "last_at", "until"])


def _hash_subject(kind: str, value: str) -> str:
    return salted_hmac(f"gaugeglass sign-in {kind}", value, algorithm="sha256").hexdigest()
