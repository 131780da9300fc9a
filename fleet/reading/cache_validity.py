"""What an answer depends on: while none of it has changed, a stored copy of the answer is still valid. One query.

A copy is valid while the person's grants, the pulses and the release are the same and no boundary in time has passed.
The next boundary is part of the basis: once it has passed, something is new by time alone, even if nothing has judged
it yet.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from hashlib import sha256
from pathlib import Path
from uuid import UUID

from django.conf import settings
from django.db.models import F, OuterRef, Subquery

from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.board.models import Judged
from fleet.catalog.models import Release
from fleet.jobs.models import Job

SERVED_SUFFIXES = {".html", ".js", ".css", ".py"}


@dataclass(frozen=True, slots=True)
class AnswerBasis:
    """Grants in force, the pulses of their portfolios, the next instant that changes something there, the release."""

    grants: Sequence[tuple[object, ...]]
    pulses: Sequence[tuple[UUID, int]]
    next_at: datetime | None
    release: int | None

    def is_valid_at(self, at: datetime) -> bool:
        """Whether no boundary has passed by `at` that is not judged yet."""
        return self.next_at is None or at < self.next_at

    @property
    def facts(self) -> str:
        """A short digest of the pulses: another one means that visible facts have changed."""
        return sha256(repr(self.pulses).encode()).hexdigest()[:16]

    def digest_with(self, *more: object) -> str:
        """Return the SHA-256 of all an answer depends on. `more` is the question: what, by whom, in which form."""
        parts = (build_digest(), self.grants, self.pulses, self.next_at, self.release, *more)
        return sha256(repr(parts).encode()).hexdigest()


def answer_basis(user: User, action: str, at: datetime) -> AnswerBasis:
    """Read what answers to one person about `action` depend on at `at`: one query, of indexed look-ups."""
    with_boundary = {"portfolio": OuterRef("portfolio"), "next_at__isnull": False}
    judged, job = (m.objects.filter(**with_boundary).order_by("next_at").values("next_at")[:1] for m in (Judged, Job))
    release = Release.objects.order_by("-number").values("number")[:1]
    granted = policy.grants_for(user, action, at).annotate(
        version=F("portfolio__pulse__version"),
        judged_next=Subquery(judged),
        job_next=Subquery(job),
        release=Subquery(release),
    )
    columns = ("id", "role", "portfolio", "building", "until", "version", "judged_next", "job_next", "release")
    rows = list(granted.order_by("id").values_list(*columns))
    return AnswerBasis(
        grants=[row[:5] for row in rows],
        pulses=sorted({(row[2], row[5] or 0) for row in rows}),
        next_at=min((instant for row in rows for instant in row[6:8] if instant), default=None),
        release=next((row[8] for row in rows), None),
    )


@cache
def build_digest() -> str:
    """Return a digest of the site's pages, scripts and code that this process serves; read once per process."""
    root: Path = settings.ROOT
    folders = (root / "templates", root / "fleet", root / "api")
    files = sorted(p for f in folders for p in f.rglob("*") if p.suffix in SERVED_SUFFIXES)
    return sha256(b"".join(p.read_bytes() for p in files)).hexdigest()
