"""Which photographs somebody may see or send, and what has arrived of each."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet

from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.files.models import KeptFile
from fleet.visits.models import Entry, Photograph, Visit


def photographs_for(user: User, action: str, at: datetime) -> QuerySet[Photograph]:
    """Return the photographs of visits to boilers on which the user may do `action`."""
    return Photograph.objects.filter(visit__boiler__in=policy.boilers_for(user, action, at))


def kept_file_of(photograph: Photograph) -> KeptFile | None:
    """Return what has arrived of a photograph; None before its first byte."""
    return KeptFile.objects.filter(portfolio=photograph.portfolio_id, sha256=photograph.sha256).first()


@dataclass(frozen=True, slots=True)
class ShownPhotograph:
    """A declared photograph with the file that has arrived of it; None until it is whole."""

    photograph: Photograph
    file: KeptFile | None

    @property
    def sha256(self) -> str:
        """What names it."""
        return self.photograph.sha256

    @property
    def size(self) -> int:
        """Its bytes as declared."""
        return self.photograph.size

    @property
    def type(self) -> str:
        """Its type as declared."""
        return self.photograph.type

    @property
    def entry(self) -> Entry | None:
        """The entry it shows; None for the visit as a whole."""
        return self.photograph.entry

    @property
    def is_kept(self) -> bool:
        """Whether it can be looked at."""
        return self.file is not None


def photographs_of(visit: Visit) -> list[ShownPhotograph]:
    """Return a visit's photographs in the order in which they were declared: two queries, one where it has none."""
    rows = list(visit.photographs.select_related("entry").order_by("number"))
    kept_files = files_by_hash(visit.portfolio_id, rows)
    return [ShownPhotograph(row, kept_files.get(row.sha256)) for row in rows]


def files_by_hash(portfolio: UUID, photographs: Iterable[Photograph]) -> Mapping[str, KeptFile]:
    """Return the whole files of these photographs of one portfolio, by hash: one query."""
    hashes = {p.sha256 for p in photographs}
    rows = KeptFile.objects.filter(portfolio=portfolio, sha256__in=hashes, kept_at__isnull=False) if hashes else ()
    return {row.sha256: row for row in rows}
