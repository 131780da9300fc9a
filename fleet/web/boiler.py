"""One boiler: its standing with all reasons, the two columns, what to do, what is open, and the forecast."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from fleet.accounts import policy
from fleet.alerts import queries as alerts
from fleet.assessments import queries as assessments
from fleet.assessments.queries import Line
from fleet.board import glasses
from fleet.board import queries as board
from fleet.board.models import Segment
from fleet.deficiencies import queries as deficiencies
from fleet.portfolio.models import Boiler, Position
from fleet.rules.wording import on
from fleet.visits import queries as visits
from fleet.web import engineering
from fleet.web.columns import Columns, columns, counted
from fleet.web.glass import Drawn, draw
from fleet.web.pages import page

RECENT = 10
BARE = ("hold", "exposed")  # standings in which no protection that counts stands between the fire and the hazard


@dataclass(frozen=True, slots=True)
class Cost:
    """A hazard that stands bare from `since` on (None: already now) if nobody does anything."""

    hazard: str
    since: datetime | None
    standing: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Past:
    """The entries at one position, newest first."""

    place: Position
    lines: Sequence[Line]
    more: bool

    @property
    def last(self) -> UUID:
        """The oldest entry shown; older ones are requested from there."""
        return self.lines[-1].entry.id


@page
def show(request: HttpRequest, at: datetime, boiler_id: UUID) -> HttpResponse:
    """Show the page of one boiler; 404 if the user may not see it."""
    seen = policy.boilers(request.user, "board.see", at).select_related("building__portfolio")
    boiler = get_object_or_404(seen, id=boiler_id)
    may, told = _may(request.user, boiler, at), _told(boiler, at)
    reckoned = engineering.numbers(boiler, at, "visit.see" in may)
    both = columns(reckoned.measured, told["places"], reckoned.terms, "visit.see" in may)
    page = {
        "boiler": boiler,
        "zone": boiler.building.zone,
        "as_of": at,
        "numbers": reckoned,
        "columns": both,
        "glass": _glass(boiler, told["now"], at),
    }
    doors = {"changes_register": "register.change" in may, "works": "visit.post" in may}
    past = _past(boiler, at, told, both) if "visit.see" in may else {"may_read": False}
    return render(request, "boiler.html", {**page, **told, **doors, **past})


def _told(boiler: Boiler, at: datetime) -> dict[str, Any]:
    now, *later = board.course(boiler.id, at) or [None]
    places, unguarded = board.places(boiler.id, at)
    return {
        "now": now,
        "later": later,
        "costs": list(costs([s for s in (now, *later) if s], at)),
        "places": places,
        "told_places": _counted([p.segment.state for p in places]),
        "unguarded": unguarded,
        "open": deficiencies.open_of(boiler.id, at),
        "alerts": [*alerts.of_building(boiler.building_id), *alerts.open_of(boiler.id)],
    }


def _glass(boiler: Boiler, now: Segment | None, at: datetime) -> Drawn | None:
    """Draw the boiler's proof glass; None if the boiler was never judged."""
    return now and draw(glasses.of([boiler.id]).get(boiler.id), now.standing, boiler.building.zone, at)


def costs(course: Sequence[Segment], at: datetime) -> Iterator[Cost]:
    """Yield each hazard once, at the first segment in which it stands bare; those bare already come first."""
    told = set()
    for segment in course:
        for reason in segment.reasons if segment.standing in BARE else ():
            hazard = reason["hazard"]
            if hazard and hazard not in told:
                told.add(hazard)
                to_come = segment.since if segment.since and segment.since > at else None
                yield Cost(hazard, to_come, segment.standing, reason["sentence"])


def _past(boiler: Boiler, at: datetime, told: dict[str, Any], both: Columns) -> dict[str, Any]:
    """Return the visits and histories, for users who may read visits; nothing links there for others."""
    recent = list(visits.recent(boiler.id, RECENT))
    entries = [*_entries(told), *(proof.entry for proof in both.newest.values())]
    return {
        "may_read": True,
        "visits": recent,
        "ready": assessments.answers(v.id for v in recent),
        "entries": visits.places(entries),
        "pasts": (pasts := _pasts(told, at)),
        "told_past": _newest(pasts, boiler.building.zone),
    }


def _may(user: Any, boiler: Boiler, at: datetime) -> set[str]:
    """Return the actions this user may do on this boiler, in one query."""
    here = Q(building=None) | Q(building=boiler.building_id)
    granted = policy.grants(user, "board.see", at).filter(here, portfolio=boiler.portfolio_id)
    roles = set(granted.values_list("role", flat=True))
    return {action for action, who in policy.ACTIONS.items() if roles & who}


def _counted(states: Sequence[str]) -> str:
    """Count the positions by state, worst first: "12 positions: 1 failed, 11 proven"."""
    return f"{len(states)} positions: {counted(states)}" if states else "none on record"


def _newest(pasts: Sequence[Past], zone: str) -> str:
    """Return when anything was last done at any of the positions, as a sentence part."""
    days = [past.lines[0].entry.performed_at for past in pasts if past.lines]
    return f"newest: {on(max(days), zone)}" if days else "nothing yet"


def _pasts(told: dict[str, Any], at: datetime) -> list[Past]:
    places = [p.segment.position for p in told["places"]]
    done = assessments.of_places((p.id for p in places), at, RECENT + 1)
    lines = {p.id: done.get(str(p.id), []) for p in places}
    return [Past(p, lines[p.id][:RECENT], len(lines[p.id]) > RECENT) for p in places]


def _entries(told: dict[str, Any]) -> Iterator[UUID]:
    """Yield the ids of the entries that reasons and deficiencies rest on."""
    reasons = [r for s in (told["now"], *told["later"]) if s for r in s.reasons]
    reasons += [p.segment.reason for p in told["places"]]
    yield from (UUID(r["entry"]) for r in reasons if r["entry"])
    yield from (o.row.opened_by_id for o in told["open"] if o.row.opened_by_id)
