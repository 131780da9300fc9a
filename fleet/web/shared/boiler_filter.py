"""The filter of a list of boilers in the query string: a portfolio, words of the building, a standing."""

from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlencode
from uuid import UUID

from django.db.models import Q, QuerySet
from django.http import HttpRequest

from fleet.portfolio.models import Boiler
from fleet.rules.values import STANDINGS

MAX_QUERY_LENGTH = 100


@dataclass(frozen=True, slots=True)
class BoilerFilter:
    """The filter; "" does not filter."""

    portfolio: str = ""
    q: str = ""
    standing: str = ""

    @classmethod
    def from_request(cls, request: HttpRequest) -> "BoilerFilter":
        """Read the query string; an invalid portfolio or standing does not filter."""
        standing = query_text(request, "standing")
        known_standing = standing if standing in STANDINGS else ""
        return cls(canonical_id(query_text(request, "portfolio")), query_text(request, "q"), known_standing)

    @property
    def query_string(self) -> str:
        """The filter as a query string; "" if nothing is filtered."""
        return build_query(portfolio=self.portfolio, q=self.q, standing=self.standing)

    def filter_boilers(self, boilers: QuerySet[Boiler]) -> QuerySet[Boiler]:
        """Return the boilers of the portfolio with every word in their address, reference or name; of any standing."""
        if self.portfolio:
            boilers = boilers.filter(portfolio=self.portfolio)  # type: ignore[misc]
        for word in self.q.split()[:8]:
            boilers = boilers.filter(
                Q(building__address__icontains=word) | Q(building__ref__icontains=word) | Q(name__icontains=word)
            )
        return boilers


def query_text(request: HttpRequest, name: str) -> str:
    """Return one parameter of the query string, stripped and cut to MAX_QUERY_LENGTH characters."""
    return request.GET.get(name, "").strip()[:MAX_QUERY_LENGTH]


def query_choice(request: HttpRequest, name: str, choices: Mapping[str, object] | tuple[str, ...]) -> str:
    """Return one parameter of the query string if it is one of `choices`, "" otherwise."""
    value = query_text(request, name)
    return value if value in choices else ""


def canonical_id(id_text: str) -> str:
    """Return a UUID in canonical form; "" if it is not a UUID."""
    try:
        return str(UUID(id_text))
    except ValueError:
        return ""


def build_query(**parameters: str | int) -> str:
    """Return the parameters that are not empty as a query string: "?q=alder"; "" if all are empty."""
    nonempty = {name: value for name, value in parameters.items() if value}
    return f"?{urlencode(nonempty)}" if nonempty else ""
