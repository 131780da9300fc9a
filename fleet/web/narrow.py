"""The filter of a list of boilers in the query string: a portfolio, words of the building, a standing."""

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
    """The filter; "" does not filter."""

    portfolio: str = ""
    q: str = ""
    standing: str = ""

    @classmethod
    def asked(cls, request: HttpRequest) -> "Narrow":
        """Read the query string; an invalid portfolio or standing does not filter."""
        standing = text(request, "standing")
        known = standing if standing in {s.value for s in Standing} else ""
        return cls(identified(text(request, "portfolio")), text(request, "q"), known)

    @property
    def query(self) -> str:
        """The filter as a query string; "" if nothing is filtered."""
        return query(portfolio=self.portfolio, q=self.q, standing=self.standing)

    def boilers(self, found: QuerySet[Boiler]) -> QuerySet[Boiler]:
        """Return the boilers of the portfolio with every word in their address, reference or name; of any standing."""
        if self.portfolio:
            found = found.filter(portfolio=self.portfolio)
        for word in self.q.split()[:8]:
            found = found.filter(
                Q(building__address__icontains=word) | Q(building__ref__icontains=word) | Q(name__icontains=word)
            )
        return found


def text(request: HttpRequest, name: str) -> str:
    """Return one parameter of the query string, stripped and cut to MAX_QUERY_LENGTH characters."""
    return request.GET.get(name, "").strip()[:LONGEST].replace("\x00", "")


def choice(request: HttpRequest, name: str, known: Mapping[str, Any] | tuple[str, ...]) -> str:
    """Return one parameter of the query string if it is one of `choices`, "" otherwise."""
    found = text(request, name)
    return found if found in known else ""


def identified(given: str) -> str:
    """Return a UUID in canonical form; "" if it is not a UUID."""
    try:
        return str(UUID(given))
    except ValueError:
        return ""


def query(**given: str | int) -> str:
    """Return the parameters that are not empty as a query string: "?q=alder"; "" if all are empty."""
    kept = {name: value for name, value in given.items() if value}
    return f"?{urlencode(kept)}" if kept else ""
