"""One paper is posted once: a second visit with the same paper of the same body is refused."""

from collections.abc import Iterable, Iterator
from uuid import UUID

from django.db.models import Q

from fleet.errors import Fault
from fleet.visits.incoming import IncomingPaper, IncomingVisit
from fleet.visits.models import PaperOfOthers


def repeated_paper_faults(visit: IncomingVisit) -> Iterator[Fault]:
    """Yield a fault where another visit that counts already rests on this paper; the boiler must be locked.

    Papers of one boiler, body and number are the same where their names or their dates are: two shops may use one
    number, and one shop's name may be spelled in two ways. What the visit itself corrects is not another one.
    """
    if visit.paper is None:
        return
    # A correction that waits for its second person has no effect yet: what it corrects still counts.
    counts = Q(visit__corrected_by=None) | Q(visit__corrected_by__waiting__subject="correction")
    papers = PaperOfOthers.objects.filter(counts, visit__boiler=visit.boiler, body=visit.paper.body)
    for paper in papers.exclude(visit=visit.corrects).order_by("visit__posted_at", "id"):
        if _is_same_paper(paper, visit.paper):
            yield _posted_already(paper, paper.visit_id)
            return


def paper_told_before(visit: IncomingVisit, earlier_visits: Iterable[IncomingVisit]) -> Iterator[Fault]:
    """Yield a fault where an earlier visit of the same load rests on this paper of the same boiler."""
    for earlier in earlier_visits:
        if earlier.boiler != visit.boiler or earlier.id == visit.corrects or not (visit.paper and earlier.paper):
            continue
        if earlier.paper.body == visit.paper.body and _is_same_paper(earlier.paper, visit.paper):
            yield _posted_already(earlier.paper, earlier.id)
            return


def _is_same_paper(paper: PaperOfOthers | IncomingPaper, other_paper: IncomingPaper) -> bool:
    """Return whether two papers of one boiler and body are one: by number, and by name or date."""
    is_same_number = _as_written_alike(paper.number) == _as_written_alike(other_paper.number)
    is_same_name = _as_written_alike(paper.name) == _as_written_alike(other_paper.name)
    return is_same_number and (is_same_name or paper.dated_on == other_paper.dated_on)


def _posted_already(paper: PaperOfOthers | IncomingPaper, visit: UUID) -> Fault:
    message = f"Paper {paper.number} of {paper.name} was already posted for this boiler, by visit {visit}."
    return Fault("paper_posted_already", message, ("paper", "number"))


def _as_written_alike(text: str) -> str:
    return "".join(c for c in text.casefold() if c.isalnum()) or text
