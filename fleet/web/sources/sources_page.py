"""The sources of all numbers: the documents by number, and which numbers rest on a clause not verified yet."""

import re
from dataclasses import dataclass
from datetime import datetime

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from fleet.catalog import queries as catalog
from fleet.catalog.citations import (
    CitedNumber,
    SourceStanding,
    cited_numbers,
    count_by_standing,
    read_citations,
    worst_standing,
)
from fleet.rules.catalogue import Catalogue, SourceSpec
from fleet.web.shared.pages import signed_in_page


@dataclass(frozen=True, slots=True)
class SourceLine:
    """One document, and how many numbers of the catalogue cite it."""

    document: SourceSpec
    cited: int


@signed_in_page
def show_sources(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show the documents of the newest release and what of its numbers is not verified yet."""
    catalogue = catalog.newest_catalogue()
    counts = count_by_standing(catalogue)
    context = {
        "release": catalogue.release,
        "lines": list_sources(catalogue),
        "unverified": list_unverified(catalogue),
        "total": counts.total(),
        "by_document": counts[SourceStanding.DOCUMENT],
        "by_practice": counts[SourceStanding.COMMON_PRACTICE],
        "not_verified": counts[SourceStanding.UNVERIFIED],
    }
    return render(request, "sources/sources.html", context)


def list_sources(catalogue: Catalogue) -> list[SourceLine]:
    """Return the documents in the order of their numbers, S before D."""
    cited = [
        n for one in cited_numbers(catalogue) for c in read_citations(one.source, catalogue.sources) for n in c.numbers
    ]
    documents = sorted(catalogue.sources.values(), key=lambda source: _number_order(source.number))
    return [SourceLine(document, cited.count(document.number)) for document in documents]


def list_unverified(catalogue: Catalogue) -> list[CitedNumber]:
    """Return the numbers of the catalogue that rest on a clause nobody has seen yet."""
    return [
        cited
        for cited in cited_numbers(catalogue)
        if worst_standing(cited.source, catalogue.sources) is SourceStanding.UNVERIFIED
    ]


def _number_order(number: str) -> tuple[bool, int]:
    return not number.startswith("S"), int(re.sub(r"\D", "", number) or 0)
