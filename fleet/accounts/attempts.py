"""Sign-ins that fail make the next one wait: counted by user name and by address, known or not, in the database.

A try is booked as failed before the password is looked at, and taken back where it was right: so a hundred at once are
a hundred, and no lock is held while a password is hashed. A session that runs is not asked.
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
    """So many failures cost nothing; then 2 s, doubled each time, at most so much (common practice)."""

    free: int
    longest: timedelta

    def wait(self, failures: int) -> timedelta:
        """How long after the latest of so many failures nothing more is tried."""
        doubled = min(max(failures - self.free, 0), 20)
        return min(timedelta(seconds=2**doubled if doubled else 0), self.longest)


# A name is short of patience but never shut for long: else anybody could keep its owner out.
NAME = Patience(free=4, longest=timedelta(minutes=1))
# Many people may share an address.
ADDRESS = Patience(free=19, longest=timedelta(minutes=15))


@dataclass(frozen=True, slots=True)
class Try:
    """One sign-in: under this name, from this address."""

    name: str
    address: str

    @property
    def subjects(self) -> dict[str, Patience]:
        """What it is counted under."""
        name = unicodedata.normalize("NFKC", self.name).strip().casefold()
        return {_subject("name", name): NAME, _subject("address", self.address): ADDRESS}


def book(tried: Try, at: datetime) -> timedelta:
    """Count it as failed and return zero; or count nothing and return how long one must wait before trying."""
    with transaction.atomic():
        rows = _locked(tried.subjects, at)
        wait = max((row.until - at for row in rows), default=timedelta(0))
        if wait > timedelta(0):
            return wait
        for row in rows:
            _counted(row, row.failures + 1 if at - row.last_at < FORGOTTEN else 1, tried.subjects[row.subject], at)
    return timedelta(0)


def succeeded(tried: Try, at: datetime) -> None:
    """Take it back: the name begins anew, the address has one failure less."""
    subjects = tried.subjects
    with transaction.atomic():
        for row in _locked(subjects, at):
            left = 0 if subjects[row.subject] is NAME else max(row.failures - 1, 0)
            _counted(row, left, subjects[row.subject], at)


def _locked(subjects: Iterable[str], at: datetime) -> list[Attempt]:
    """The rows, made where they are missing, locked in one order."""
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
