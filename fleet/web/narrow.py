"""What a list of boilers is narrowed to by the address: a portfolio, words of the building, a standing."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode
from uuid import UUID

from django.db.models import Q, QuerySet
from django.http import HttpRequest

from fleet.portfolio.models import Boiler
from fleet.rules.values import Standing

LONGEST = 100


@dataclass(frozen=True, slots=True)
class Narrow:
    """What was asked for; "" asks for all."""

    portfolio: str = ""
    q: str = ""
    standing: str = ""

    @classmethod
    def asked(cls, request: HttpRequest) -> "Narrow":
        """Read the address; what is no portfolio or standing asks for nothing."""
        standing = text(request, "standing")
        known = standing if standing in {s.value for s in Standing} else ""
        return cls(identified(text(request, "portfolio")), text(request, "q"), known)

    @property
    def query(self) -> str:
        """The same as a query string; "" where nothing is asked."""
        return query(portfolio=self.portfolio, q=self.q, standing=self.standing)

    def boilers(self, found: QuerySet[Boiler]) -> QuerySet[Boiler]:
        """Those of the portfolio in whose address, reference or name every word stands; of any standing."""
        if self.portfolio:
            found = found.filter(portfolio=self.portfolio)
        for word in self.q.split()[:8]:
            found = found.filter(
                Q(building__address__icontains=word) | Q(building__ref__icontains=word) | Q(name__icontains=word)
            )
        return found


def text(request: HttpRequest, name: str) -> str:
    """One short text of the address."""
    return request.GET.get(name, "").strip()[:LONGEST].replace("\x00", "")


def choice(request: HttpRequest, name: str, known: Mapping[str, Any] | tuple[str, ...]) -> str:
    """One of the known words of the address, "" for any other."""
    found = text(request, name)
    return found if found in known else ""


def identified(given: str) -> str:
    """An id as it is written, "" for what is none."""
    try:
        return str(UUID(given))
    except ValueError:
        return ""


def query(**given: str | int) -> str:
    """What is not empty as a query string with its mark: "?q=alder"; "" for nothing."""
    kept = {name: value for name, value in given.items() if value}
    return f"?{urlencode(kept)}" if kept else ""
