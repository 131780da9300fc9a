"""The wall of proof glasses: a portfolio at a glance, grouped by building, the worst building first."""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any

from django.http import HttpRequest, StreamingHttpResponse
from django.template.loader import render_to_string
from django.utils.html import escape

from fleet.accounts import policy
from fleet.board import wall
from fleet.board.wall import Hung
from fleet.portfolio.models import Portfolio
from fleet.rules.values import Standing
from fleet.web.glass import Drawn, draw
from fleet.web.narrow import Narrow
from fleet.web.pages import page

Glass = tuple[Hung, Drawn]
PLACE = "<!-- the glasses hang here -->"
TOGETHER = 48  # buildings in one block, which the browser lays out when it comes into view
SAID = {standing.value: standing.value.replace("_", " ").capitalize() for standing in Standing}


@dataclass(frozen=True, slots=True)
class House:
    """The glasses of one building."""

    first: Hung
    glasses: Sequence[Glass]

    @property
    def order(self) -> tuple[Any, ...]:
        """The sort key: the worst standing, then the fewest days, then the address."""
        days = [drawn.days for _, drawn in self.glasses if drawn.days is not None]
        return min(hung.rank for hung, _ in self.glasses), min(days, default=99_999), self.first.address

    @property
    def markup(self) -> str:
        """The heading and glasses as HTML. Not a template, since a wall holds thousands of glasses."""
        first, items = self.first, "".join(_item(*glass) for glass in self.glasses)
        link = f'<h2><a href="/buildings/{first.building}/">{escape(first.address)}</a></h2>'
        return f'<section class="house">{link}<ul>{items}</ul></section>'


@page
def show(request: HttpRequest, at: datetime) -> StreamingHttpResponse:
    """Show the wall."""
    user, asked = request.user, Narrow.asked(request)
    own = policy.boilers(user, "board.see", at)
    houses = _houses(wall.hung(asked.boilers(own), at, asked.standing), at)
    counted = Counter(hung.standing for house in houses for hung, _ in house.glasses)
    zones = {house.first.zone for house in houses}
    context = {
        "houses": houses,
        "place": PLACE,
        "counts": [(standing.value, counted[standing.value]) for standing in Standing],
        "asked": asked,
        "portfolios": list(Portfolio.objects.filter(id__in=own.order_by().values("portfolio")).order_by("name")),
        "granted": policy.grants(user, "board.see", at).exists(),
        "as_of": at,
        "zone": zones.pop() if len(zones) == 1 else "UTC",
        "here": "board",
    }
    head, _, foot = render_to_string("wall.html", context, request).partition(PLACE)
    return StreamingHttpResponse(_written(head, houses, foot))


def _written(head: str, houses: Sequence[House], foot: str) -> Iterator[str]:
    """Yield the page in pieces, so that the first row is shown while the last is still being written."""
    yield head
    for start in range(0, len(houses), TOGETHER):
        pieces = "".join(house.markup for house in houses[start : start + TOGETHER])
        yield f'<div class="wall">{pieces}</div>\n'
    yield foot


def _houses(found: Iterable[Hung], at: datetime) -> list[House]:
    houses = []
    for _, own in groupby(found, key=lambda hung: hung.building):
        glasses = [(hung, draw(hung.glass, hung.standing, hung.zone, at)) for hung in own]
        houses.append(House(glasses[0][0], sorted(glasses, key=lambda g: (g[0].rank, g[0].name))))
    return sorted(houses, key=lambda house: house.order)


def _item(hung: Hung, drawn: Drawn) -> str:
    standing = hung.standing
    mark = f'<svg class="mark standing-{standing}"><use href="#mark-{standing}"/></svg>'
    told = f'<i class="unseen">{escape(hung.name)}: {SAID[standing]}. {escape(drawn.text)} {drawn.aside}</i>'
    seen = f'<b aria-hidden="true">{escape(hung.ref)}</b>'
    glass = f'<svg class="glass" viewBox="0 0 20 44">{drawn.inner}</svg>'
    return f'<li><a href="/boilers/{hung.boiler}/">{glass}{mark}{seen}{told}</a></li>'
