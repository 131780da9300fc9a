"""One paper is posted once: a second visit with the same paper of the same body is refused."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
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


def repeated_papers_of_load(visits: Sequence[IncomingVisit]) -> Iterator[Fault]:
    """Yield a fault, at its number, for each visit of one load that rests on the paper of an earlier visit of it."""
    papers: dict[tuple[UUID, str], list[tuple[UUID, IncomingPaper]]] = defaultdict(list)  # by boiler and body
    for number, visit in enumerate(visits):
        if visit.paper is None:
            continue
        earlier_papers = papers[visit.boiler, visit.paper.body]
        for earlier_visit, paper in earlier_papers:
            if earlier_visit != visit.corrects and _is_same_paper(paper, visit.paper):
                fault = _posted_already(paper, earlier_visit)
                yield Fault(fault.code, fault.message, (number, *fault.at))
                break
        earlier_papers.append((visit.id, visit.paper))


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
