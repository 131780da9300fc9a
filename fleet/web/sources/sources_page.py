"""The sources of all numbers: the documents by number, and which numbers rest on a clause not verified yet."""

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from fleet.catalog import queries as catalog
from fleet.catalog.citations import (
    SourceStanding,
    cited_numbers,
    count_by_standing,
    list_unverified,
    read_citations,
    worst_standing,
)
from fleet.engineering.calculations import CALCULATIONS
from fleet.engineering.table.definitions import CalculationSpec
from fleet.rules.catalogue import Catalogue, SourceSpec
from fleet.web.shared.pages import signed_in_page


@dataclass(frozen=True, slots=True)
class SourceLine:
    """One document, and how many numbers of the catalogue and how many calculations cite it."""

    document: SourceSpec
    numbers: int
    calculations: int


@signed_in_page
def show_sources(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show the documents of the newest release and what of its numbers is not verified yet."""
    catalogue = catalog.newest_catalogue()
    counts = count_by_standing(catalogue)
    context = {
        "release": catalogue.release,
        "lines": list_sources(catalogue),
        "unverified": list_unverified(catalogue),
        "calculations": len(CALCULATIONS),
        "unverified_calculations": list_unverified_calculations(catalogue),
        "total": counts.total(),
        "by_document": counts[SourceStanding.DOCUMENT],
        "by_practice": counts[SourceStanding.COMMON_PRACTICE],
        "not_verified": counts[SourceStanding.UNVERIFIED],
    }
    return render(request, "sources/sources.html", context)


def list_sources(catalogue: Catalogue) -> list[SourceLine]:
    """Return the documents in the order of their numbers, S before D."""
    in_catalogue = _count_citations((number.source for number in cited_numbers(catalogue)), catalogue)
    in_calculator = _count_citations((calculation.source for calculation in CALCULATIONS.values()), catalogue)
    documents = sorted(catalogue.sources.values(), key=lambda source: _number_order(source.number))
    return [SourceLine(d, in_catalogue[d.number], in_calculator[d.number]) for d in documents]


def _count_citations(sources: Iterable[str], catalogue: Catalogue) -> Counter[str]:
    """Return how many of these sources cite each document, by its number."""
    citations = (read_citations(source, catalogue.sources) for source in sources)
    return Counter(number for cited in citations for number in {n for c in cited for n in c.numbers})


def list_unverified_calculations(catalogue: Catalogue) -> list[CalculationSpec]:
    """Return the calculations that rest on a clause nobody has seen yet, at least in part."""
    unverified = SourceStanding.UNVERIFIED
    return [c for c in CALCULATIONS.values() if worst_standing(c.source, catalogue.sources) is unverified]


def _number_order(number: str) -> tuple[bool, int]:
    return not number.startswith("S"), int(re.sub(r"\D", "", number) or 0)
