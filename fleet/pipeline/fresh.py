"""What an answer rests on: while none of it has moved, what was answered before still holds. One query.

A copy is good while nobody's grants, no pulse and no release has moved and no boundary in time has passed. The next
boundary is part of it: once it has passed, something is new by time alone, whether or not anything has looked since.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any
from uuid import UUID

from django.conf import settings
from django.db.models import F, OuterRef, Subquery

from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.board.models import Judged
from fleet.catalog.models import Release
from fleet.jobs.models import Job

SERVED = {".html", ".js", ".css", ".py"}


@dataclass(frozen=True, slots=True)
class Ground:
    """Grants in force with the pulses of their portfolios; when time alone next changes something there."""

    grants: Sequence[tuple[Any, ...]]
    pulses: Sequence[tuple[UUID, int]]
    next_at: datetime | None
    release: int | None

    def holds(self, at: datetime) -> bool:
        """Whether nothing has passed that nobody has judged yet."""
        return self.next_at is None or at < self.next_at

    @property
    def facts(self) -> str:
        """A short name of the facts that may be seen: another one means that facts have moved."""
        return sha256(repr(self.pulses).encode()).hexdigest()[:16]

    def tag(self, *more: Any) -> str:
        """Everything an answer depends on, as one digest; `more` is what was asked, by whom and how."""
        told = (build(), self.grants, self.pulses, self.next_at, self.release, *more)
        return sha256(repr(told).encode()).hexdigest()


def ground(user: User | Any, action: str, at: datetime) -> Ground:
    """What the answers to one person about `action` rest on at `at`: one query, of indexed look-ups."""
    here = {"portfolio": OuterRef("portfolio"), "next_at__isnull": False}
    judged, job = (m.objects.filter(**here).order_by("next_at").values("next_at")[:1] for m in (Judged, Job))
    release = Release.objects.order_by("-number").values("number")[:1]
    granted = policy.grants(user, action, at).annotate(
        version=F("portfolio__pulse__version"),
        judged_next=Subquery(judged),
        job_next=Subquery(job),
        release=Subquery(release),
    )
    columns = ("id", "role", "portfolio", "building", "until", "version", "judged_next", "job_next", "release")
    rows = list(granted.order_by("id").values_list(*columns))
    return Ground(
        grants=[row[:5] for row in rows],
        pulses=sorted({(row[2], row[5] or 0) for row in rows}),
        next_at=min((instant for row in rows for instant in row[6:8] if instant), default=None),
        release=next((row[8] for row in rows), None),
    )


@cache
def build() -> str:
    """Which build of the site this process serves: a digest of its pages, scripts and code, read once."""
    root: Path = settings.ROOT
    folders = (root / "templates", root / "fleet", root / "api")
    files = sorted(p for f in folders for p in f.rglob("*") if p.suffix in SERVED)
    return sha256(b"".join(p.read_bytes() for p in files)).hexdigest()
