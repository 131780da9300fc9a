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
from fleet.accounts.requests import user_of
from fleet.alerts import queries as alerts
from fleet.assessments import queries as assessments
from fleet.assessments.queries import EntryLine
from fleet.board import glasses
from fleet.board import queries as board
from fleet.board.models import Segment
from fleet.catalog.queries import catalogue_at
from fleet.deficiencies import queries as deficiencies
from fleet.deficiencies.queries import OpenDeficiency
from fleet.files.queries import newest_photographs, papers_of
from fleet.portfolio.models import Boiler, Position
from fleet.rules.finding_codes import FindingCode
from fleet.rules.needed_roles import GRACE_DAYS, RegisterGap
from fleet.rules.wording import local_day
from fleet.visits import queries as visits
from fleet.visits import register_gaps
from fleet.visits.models import Visit
from fleet.web.boiler import engineering
from fleet.web.boiler.columns import BoilerColumns, build_columns, count_states
from fleet.web.shared.glass import GlassDrawing, draw_glass
from fleet.web.shared.pages import signed_in_page
from fleet.web.templatetags.said import day, word

RECENT_COUNT = 10
SHOWN_PHOTOGRAPHS = 6
SHOWN_PAPERS = 6
SHOWN_REASONS, SHOWN_DEFICIENCIES = 4, 2  # the others are folded
LINK_ACTIONS = {"changes_register": "register.change", "works": "visit.post", "sees_card": "card.see"}
BARE_STANDINGS = (
    "hold",
    "exposed",
)  # standings in which no protection that counts stands between the fire and the hazard


@dataclass(frozen=True, slots=True)
class BareHazard:
    """A hazard that stands bare from `since` on (None: already now) if nobody does anything."""

    hazard: str
    since: datetime | None
    standing: str
    sentence: str

    def begin_text(self, zone: str) -> str:
        """Return from when it stands bare, in words."""
        return f"from {day(self.since, zone)}" if self.since else "already"


@dataclass(frozen=True, slots=True)
class PositionHistory:
    """The entries at one position, newest first."""

    place: Position
    lines: Sequence[EntryLine]
    more: bool
    zone: str

    @property
    def last(self) -> UUID:
        """The oldest entry shown; older ones are requested from there."""
        return self.lines[-1].entry.id

    @property
    def summary(self) -> str:
        """The newest entry, as a sentence part."""
        if not self.lines:
            return "nothing yet"
        newest = self.lines[0]
        outcome = f", {word(newest.verdict.outcome).lower()}" if newest.verdict else ""
        return f"newest: {newest.title.lower()}{outcome}, {day(newest.entry.performed_at, self.zone)}"


@signed_in_page
def show_boiler(request: HttpRequest, at: datetime, boiler_id: UUID) -> HttpResponse:
    """Show the page of one boiler; 404 if the user may not see it."""
    visible_boilers = policy.boilers_for(user_of(request), "board.see", at).select_related("building__portfolio")
    boiler = get_object_or_404(assessments.note_what_waits(visible_boilers), id=boiler_id)
    permitted, standing_context = _permitted_actions(request.user, boiler, at), _standing_context(boiler, at)
    boiler_numbers = engineering.compute_numbers(boiler, at, "visit.see" in permitted)
    boiler_columns = build_columns(
        boiler_numbers.boiler_data, standing_context["places"], boiler_numbers.terms, "visit.see" in permitted
    )
    page_context = {
        "boiler": boiler,
        "zone": boiler.building.zone,
        "as_of": at,
        "numbers": boiler_numbers,
        "columns": boiler_columns,
        "glass": _draw_boiler_glass(boiler, standing_context["now"], at),
        "waiting": assessments.waiting_visits(boiler.id) if boiler.something_waits else (),
    }
    link_context = {name: action in permitted for name, action in LINK_ACTIONS.items()}
    past_context = (
        _past_context(boiler, at, standing_context, boiler_columns) if "visit.see" in permitted else {"may_read": False}
    )
    return render(request, "boiler/boiler.html", {**page_context, **standing_context, **link_context, **past_context})


def _standing_context(boiler: Boiler, at: datetime) -> dict[str, Any]:
    segments = board.standing_from(boiler.id, at)
    now, later = (segments[0], segments[1:]) if segments else (None, [])
    places = board.position_states(boiler.id, at)
    hazards, reasons = list(find_bare_hazards(segments, at)), now.reasons if now else []
    deficiency_details = deficiencies.open_deficiencies(boiler.id, at)
    return {
        "now": now,
        "later": later,
        "shown_reasons": reasons[:SHOWN_REASONS],
        "more_reasons": reasons[SHOWN_REASONS:],
        "costs": hazards,
        "told_course": _course_summary(hazards, later, boiler.building.zone),
        "places": places,
        "told_places": _count_positions([p.segment.state for p in places]),
        "gaps": _open_gaps(boiler, deficiency_details, at),
        "grace_days": GRACE_DAYS,
        "open": deficiency_details,
        "shown_deficiencies": deficiency_details[:SHOWN_DEFICIENCIES],
        "more_deficiencies": deficiency_details[SHOWN_DEFICIENCIES:],
        "alerts": [*alerts.open_alerts_of_building(boiler.building_id), *alerts.open_alerts_of_boiler(boiler.id)],
    }


def _open_gaps(boiler: Boiler, found: Sequence[OpenDeficiency], at: datetime) -> Sequence[RegisterGap]:
    """Return what the register leaves out; read only where a deficiency says that it leaves something out."""
    if all(detail.row.rule != FindingCode.NOT_ON_RECORD for detail in found):
        return ()
    return register_gaps.gaps_of_boiler(boiler, catalogue_at(at), at)


def _draw_boiler_glass(boiler: Boiler, now: Segment | None, at: datetime) -> GlassDrawing | None:
    """Draw the boiler's proof glass; None if the boiler was never judged."""
    if now is None:
        return None
    return draw_glass(glasses.glasses_of([boiler.id]).get(boiler.id), now.standing, boiler.building.zone, at)


def find_bare_hazards(course: Sequence[Segment], at: datetime) -> Iterator[BareHazard]:
    """Yield each hazard once, at the first segment in which it stands bare; those bare already come first.

    What is bare is stored with the standing: a failed device beside one that stands does not bare its hazard.
    """
    reported_hazards = set()
    for segment in course:
        for hazard in segment.bare if segment.standing in BARE_STANDINGS else ():
            if hazard not in reported_hazards:
                reported_hazards.add(hazard)
                to_come = segment.since if segment.since and segment.since > at else None
                own_reasons = [r["sentence"] for r in segment.reasons if r["hazard"] == hazard]
                sentence = own_reasons[0] if own_reasons else segment.reasons[0]["sentence"]
                yield BareHazard(hazard, to_come, segment.standing, sentence)


def _past_context(
    boiler: Boiler, at: datetime, standing_context: dict[str, Any], boiler_columns: BoilerColumns
) -> dict[str, Any]:
    """Return the visits and histories, for users who may read visits; nothing links there for others."""
    recent = list(visits.recent_visits(boiler.id, RECENT_COUNT))
    entries = [*_linked_entries(standing_context), *(proof.entry for proof in boiler_columns.newest_proofs.values())]
    return {
        "may_read": True,
        "visits": recent,
        "photographs": newest_photographs(boiler, SHOWN_PHOTOGRAPHS),
        "papers": papers_of(boiler, SHOWN_PAPERS),
        "ready": assessments.readiness_answers(v.id for v in recent),
        "entries": visits.entry_places(entries),
        "pasts": (histories := _position_histories(standing_context, boiler.building.zone, at)),
        "told_past": _newest_work(histories, boiler.building.zone),
        "told_visits": _newest_visit(recent, boiler.building.zone),
    }


def _permitted_actions(user: Any, boiler: Boiler, at: datetime) -> set[str]:
    """Return the actions this user may do on this boiler, in one query."""
    building_scope = Q(building=None) | Q(building=boiler.building_id)
    grants = policy.grants_for(user, "board.see", at).filter(building_scope, portfolio=boiler.portfolio_id)
    roles = set(grants.values_list("role", flat=True))
    return {action for action, permitted_roles in policy.ACTIONS.items() if roles & permitted_roles}


def _course_summary(hazards: Sequence[BareHazard], later: Sequence[Segment], zone: str) -> str:
    """Return the first thing that time alone brings, as a sentence part."""
    if hazards:
        return f"{word(hazards[0].hazard)} stands bare {hazards[0].begin_text(zone)}"
    return f"{word(later[0].standing)} from {day(later[0].since, zone)}" if later else "it stays as it is"


def _count_positions(states: Sequence[str]) -> str:
    """Count the positions by state, worst first: "12 positions: 1 failed, 11 proven"."""
    return f"{len(states)} positions: {count_states(states)}" if states else "none on record"


def _newest_work(histories: Sequence[PositionHistory], zone: str) -> str:
    """Return when anything was last done at any of the positions, as a sentence part."""
    days = [history.lines[0].entry.performed_at for history in histories if history.lines]
    return f"newest: {local_day(max(days), zone)}" if days else "nothing yet"


def _newest_visit(recent: Sequence[Visit], zone: str) -> str:
    """Return the kind and the day of the newest visit, as a sentence part."""
    return f"newest: {word(recent[0].kind).lower()}, {day(recent[0].performed_at, zone)}" if recent else "none yet"


def _position_histories(standing_context: dict[str, Any], zone: str, at: datetime) -> list[PositionHistory]:
    places = [p.segment.position for p in standing_context["places"]]
    lines_by_place = assessments.lines_of_places((p.id for p in places), at, RECENT_COUNT + 1)
    lines = {p.id: lines_by_place.get(str(p.id), []) for p in places}
    return [PositionHistory(p, lines[p.id][:RECENT_COUNT], len(lines[p.id]) > RECENT_COUNT, zone) for p in places]


def _linked_entries(standing_context: dict[str, Any]) -> Iterator[UUID]:
    """Yield the ids of the entries that reasons and deficiencies rest on."""
    reasons = [r for s in (standing_context["now"], *standing_context["later"]) if s for r in s.reasons]
    reasons += [p.segment.reason for p in standing_context["places"]]
    yield from (UUID(r["entry"]) for r in reasons if r["entry"])
    yield from (o.row.opened_by_id for o in standing_context["open"] if o.row.opened_by_id)
