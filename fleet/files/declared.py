"""What a visit declares of a file before its bytes come: a photograph, or the file of a paper of others."""

from dataclasses import dataclass
from uuid import UUID

from fleet.visits.models import PaperOfOthers, Photograph

PDF_TYPE = "application/pdf"
PICTURE_TYPE = "image/jpeg"  # of every picture that is kept


@dataclass(frozen=True, slots=True)
class DeclaredFile:
    """A file as it was declared: whose it is, its SHA-256, its bytes and its type."""

    portfolio: UUID
    sha256: str
    size: int
    type: str


def file_of_photograph(photograph: Photograph) -> DeclaredFile:
    """Return what a photograph declares."""
    return DeclaredFile(photograph.portfolio_id, photograph.sha256, photograph.size, photograph.type)


def file_of_paper(paper: PaperOfOthers) -> DeclaredFile:
    """Return what a paper of others declares."""
    return DeclaredFile(paper.portfolio_id, paper.file_sha256, paper.file_size, paper.file_type)
