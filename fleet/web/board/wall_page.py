"""The wall of proof glasses: a portfolio at a glance, grouped by building, the worst building first."""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby

from django.http import HttpRequest, StreamingHttpResponse
from django.template.loader import render_to_string
from django.utils.html import escape

from fleet.accounts import policy
from fleet.accounts.requests import user_of
from fleet.board import wall
from fleet.board.wall import WallBoiler
from fleet.portfolio.models import Portfolio
from fleet.rules.values import Standing
from fleet.web.shared.boiler_filter import BoilerFilter
from fleet.web.shared.glass import GlassDrawing, draw_glass
from fleet.web.shared.pages import signed_in_page

HungGlass = tuple[WallBoiler, GlassDrawing]
GLASSES_PLACEHOLDER = "<!-- the glasses hang here -->"
BUILDINGS_PER_PIECE = 48  # buildings in one block, which the browser lays out when it comes into view
STANDING_WORDS = {standing.value: standing.value.replace("_", " ").capitalize() for standing in Standing}


@dataclass(frozen=True, slots=True)
class WallBuilding:
    """The glasses of one building."""

    first: WallBoiler
    glasses: Sequence[HungGlass]

    @property
    def order(self) -> tuple[object, ...]:
        """The sort key: the worst standing, then the fewest days, then the address."""
        days = [drawing.days for _, drawing in self.glasses if drawing.days is not None]
        return min(hung.rank for hung, _ in self.glasses), min(days, default=99_999), self.first.address

    @property
    def markup(self) -> str:
        """The heading and glasses as HTML. Not a template, since a wall holds thousands of glasses."""
        first, items = self.first, "".join(_glass_item(*glass) for glass in self.glasses)
        link = f'<h2><a href="/buildings/{first.building}/">{escape(first.address)}</a></h2>'
        return f'<section class="house">{link}<ul>{items}</ul></section>'


@signed_in_page
def show_wall(request: HttpRequest, at: datetime) -> StreamingHttpResponse:
    """Show the wall."""
    user, boiler_filter = user_of(request), BoilerFilter.from_request(request)
    visible_boilers = policy.boilers_for(user, "board.see", at)
    buildings = _group_by_building(
        wall.wall_boilers(boiler_filter.filter_boilers(visible_boilers), at, boiler_filter.standing), at
    )
    counts = Counter(hung.standing for building in buildings for hung, _ in building.glasses)
    zones = {building.first.zone for building in buildings}
    context = {
        "houses": buildings,
        "place": GLASSES_PLACEHOLDER,
        "counts": [(standing.value, counts[standing.value]) for standing in Standing],
        "asked": boiler_filter,
        "portfolios": list(
            Portfolio.objects.filter(id__in=visible_boilers.order_by().values("portfolio")).order_by("name")
        ),
        "granted": policy.grants_for(user, "board.see", at).exists(),
        "as_of": at,
        "zone": zones.pop() if len(zones) == 1 else "UTC",
        "here": "board",
    }
    head, _, foot = render_to_string("board/wall.html", context, request).partition(GLASSES_PLACEHOLDER)
    return StreamingHttpResponse(_stream_pieces(head, buildings, foot))


def _stream_pieces(head: str, buildings: Sequence[WallBuilding], foot: str) -> Iterator[str]:
    """Yield the page in pieces, so that the first row is shown while the last is still being written."""
    yield head
    for start in range(0, len(buildings), BUILDINGS_PER_PIECE):
        pieces = "".join(building.markup for building in buildings[start : start + BUILDINGS_PER_PIECE])
        yield f'<div class="wall">{pieces}</div>\n'
    yield foot


def _group_by_building(hung_boilers: Iterable[WallBoiler], at: datetime) -> list[WallBuilding]:
    buildings = []
    for _, building_boilers in groupby(hung_boilers, key=lambda hung: hung.building):
        glasses = [(hung, draw_glass(hung.glass, hung.standing, hung.zone, at)) for hung in building_boilers]
        buildings.append(WallBuilding(glasses[0][0], sorted(glasses, key=lambda g: (g[0].rank, g[0].name))))
    return sorted(buildings, key=lambda building: building.order)


def _glass_item(hung: WallBoiler, drawing: GlassDrawing) -> str:
    standing = hung.standing
    mark = f'<svg class="mark standing-{standing}"><use href="#mark-{standing}"/></svg>'
    hidden_text = (
        f'<i class="unseen">{escape(hung.name)}: {STANDING_WORDS[standing]}. {escape(drawing.text)} {drawing.aside}</i>'
    )
    visible_ref = f'<b aria-hidden="true">{escape(hung.ref)}</b>'
    glass = f'<svg class="glass" viewBox="0 0 20 44">{drawing.inner}</svg>'
    return f'<li><a href="/boilers/{hung.boiler}/">{glass}{mark}{visible_ref}{hidden_text}</a></li>'
