"""Which photographs somebody may see or send, and what has arrived of each."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet

from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.files.declared import PDF_TYPE, DeclaredFile
from fleet.files.models import KeptFile
from fleet.portfolio.models import Boiler
from fleet.visits.models import Entry, PaperOfOthers, Photograph, Visit


def photographs_for(user: User, action: str, at: datetime) -> QuerySet[Photograph]:
    """Return the photographs of visits to boilers on which the user may do `action`."""
    return Photograph.objects.filter(visit__boiler__in=policy.boilers_for(user, action, at))


def papers_for(user: User, action: str, at: datetime) -> QuerySet[PaperOfOthers]:
    """Return the papers of others of boilers on which the user may do `action`."""
    return PaperOfOthers.objects.filter(visit__boiler__in=policy.boilers_for(user, action, at))


def kept_file_of(declared: DeclaredFile) -> KeptFile | None:
    """Return what has arrived of a declared file; None before its first byte, or where its hash is of another type."""
    rows = KeptFile.objects.filter(portfolio=declared.portfolio, sha256=declared.sha256, type=declared.type)
    return rows.first()


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
    def subject(self) -> str:
        """What it shows, as far as its entry says: the place, else the whole visit."""
        position = self.entry.position if self.entry else None
        return position.name if position else "the visit"

    @property
    def is_kept(self) -> bool:
        """Whether it can be looked at."""
        return self.file is not None


def photographs_of(visit: Visit) -> list[ShownPhotograph]:
    """Return a visit's photographs in the order in which they were declared: two queries, one where it has none."""
    return _with_files(visit.portfolio_id, _with_entries(visit.photographs.all()).order_by("number"))


def photographs_of_entries(portfolio: UUID, entries: Iterable[UUID]) -> list[ShownPhotograph]:
    """Return the photographs that show one of these entries of valid visits, the oldest first: two queries."""
    rows = Photograph.objects.filter(entry__in=list(entries), visit__corrected_by=None)
    return _with_files(portfolio, _with_entries(rows).order_by("entry__performed_at", "visit_id", "number"))


def newest_photographs(boiler: Boiler, limit: int) -> list[ShownPhotograph]:
    """Return the newest photographs of a boiler's valid visits: two queries."""
    rows = Photograph.objects.filter(visit__boiler=boiler, visit__corrected_by=None, visit__void=False)
    newest_rows = _with_entries(rows).order_by("-visit__performed_at", "-visit_id", "number")[:limit]
    return _with_files(boiler.portfolio_id, newest_rows)


def _with_entries(rows: QuerySet[Photograph]) -> QuerySet[Photograph]:
    return rows.select_related("entry__position", "entry__procedure", "visit")


def _with_files(portfolio: UUID, rows: QuerySet[Photograph]) -> list[ShownPhotograph]:
    photographs = list(rows)
    kept_files = files_by_hash(portfolio, photographs)
    return [ShownPhotograph(row, kept_files.get(row.sha256)) for row in photographs]


def files_by_hash(portfolio: UUID, photographs: Iterable[Photograph]) -> Mapping[str, KeptFile]:
    """Return the whole files of these photographs of one portfolio, by hash: one query."""
    hashes = {p.sha256 for p in photographs}
    rows = _whole_files(portfolio, hashes).exclude(type=PDF_TYPE) if hashes else ()
    return {row.sha256: row for row in rows}


def _whole_files(portfolio: UUID, hashes: Iterable[str]) -> QuerySet[KeptFile]:
    return KeptFile.objects.filter(portfolio=portfolio, sha256__in=hashes, kept_at__isnull=False)


@dataclass(frozen=True, slots=True)
class PaperWithFile:
    """A paper of others, and whether the file that it declares is kept here."""

    paper: PaperOfOthers
    is_kept: bool


def papers_of(boiler: Boiler, limit: int) -> list[PaperWithFile]:
    """Return the newest papers of others of a boiler's valid visits: two queries, one where it has none."""
    rows = PaperOfOthers.objects.filter(visit__boiler=boiler, visit__corrected_by=None, visit__void=False)
    papers = list(rows.select_related("visit").order_by("-dated_on", "-visit__performed_at", "id")[:limit])
    return _with_kept_files(boiler.portfolio_id, papers)


def paper_of(visit: Visit) -> PaperWithFile | None:
    """Return the paper on which a visit rests; None without one."""
    paper = getattr(visit, "paper", None)
    return _with_kept_files(visit.portfolio_id, [paper])[0] if paper else None


def _with_kept_files(portfolio: UUID, papers: Sequence[PaperOfOthers]) -> list[PaperWithFile]:
    hashes = {paper.file_sha256 for paper in papers}
    kept = {(f.sha256, f.type) for f in _whole_files(portfolio, hashes)} if hashes else set()
    return [PaperWithFile(paper, (paper.file_sha256, paper.file_type) in kept) for paper in papers]
