"""The forms for decisions about a deficiency: assign, report a repair, defer, explain."""

from collections.abc import Callable
from datetime import datetime
from uuid import UUID

from django.db.models import Q
from django.http import HttpRequest

from fleet import pipeline
from fleet.accounts import policy
from fleet.accounts.models import Grant, User
from fleet.accounts.people import active_users_of
from fleet.accounts.requests import cause_of, user_of
from fleet.deficiencies.acts import DeficiencyDecision
from fleet.deficiencies.queries import DeficiencyDetail
from fleet.errors import Refused
from fleet.portfolio.models import Building
from fleet.records.row_spans import not_ended
from fleet.web.shared.forms import Form, FormField, Texts
from fleet.web.shared.local_times import parse_local_instant
from fleet.web.shared.write_attempts import STALE_MESSAGE, parse_version

OVER_STATUSES = ("closed", "withdrawn", "merged")
ACTIONS = {
    "assigned": "deficiency.assign",
    "repair_reported": "deficiency.report_repair",
    "deferred": "deficiency.defer",
    "explained": "deficiency.explain",
}
DEFER_NOTE = "Deferring silences reminders. It never improves a state, and it ends by itself when the class rises."
REPAIR_NOTE = "A repair that is said to be done proves nothing: it stays open until what closes it has passed."


def forms_for(request: HttpRequest, deficiency: DeficiencyDetail, at: datetime, *, offered: bool = True) -> list[Form]:
    """Return the forms this user may send; with `offered`, only those of use in the present status."""
    row = deficiency.row
    if offered and deficiency.life.status in OVER_STATUSES:
        return []
    building = row.boiler.building
    grants = policy.grants_for(user_of(request), "board.see", at).filter(Q(building=None) | Q(building=building))
    roles = set(grants.filter(portfolio=row.portfolio_id).values_list("role", flat=True))
    permitted_kinds = [kind for kind, action in ACTIONS.items() if roles & policy.ACTIONS[action]]
    if offered and deficiency.life.level == "hold":
        permitted_kinds = [kind for kind in permitted_kinds if kind != "deferred"]
    return [_build_form(kind, request, deficiency, at) for kind in permitted_kinds]


def _build_form(kind: str, request: HttpRequest, deficiency: DeficiencyDetail, at: datetime) -> Form:
    zone, page_values = deficiency.row.boiler.building.zone, {"version": str(deficiency.row.version)}

    def run_form(texts: Texts, original: Texts) -> None:
        number = parse_version(original["version"])
        cause = cause_of(request)
        decision = _read_decision(kind, texts, zone)
        try:
            pipeline.act_on_deficiency(
                deficiency=deficiency.row.id,
                decision=decision,
                version=number,
                by=user_of(request),
                at=at,
                cause=cause,
            )
        except Refused as refused:
            raise (Refused("stale", STALE_MESSAGE, status=412) if refused.status == 412 else refused) from None

    title, button, note, fields = _PARTS_BY_KIND[kind](deficiency.row.boiler.building, at)
    return Form(kind, title, fields=fields, run=run_form, page_values=page_values, button=button, note=note)


def _read_decision(kind: str, texts: Texts, zone: str) -> DeficiencyDecision:
    clean_texts = {name: value.strip() for name, value in texts.items()}
    return DeficiencyDecision(
        kind,
        clean_texts.get("reason", "")[: 2000 if kind == "explained" else 400],
        until=parse_local_instant(clean_texts.get("until", ""), zone),
        done_at=parse_local_instant(clean_texts.get("done_at", ""), zone),
        assignee=_parse_id(clean_texts.get("to", "")),
        cause=clean_texts.get("cause", "")[:64],
    )


def _parse_id(text: str) -> UUID | None:
    try:
        return UUID(text)
    except ValueError:
        return None


FormParts = tuple[str, str, str, list[FormField]]


def _assign_parts(building: Building, at: datetime) -> FormParts:
    people = tuple((str(u.id), u.display_name) for u in _assignable_people(building, at))
    to = FormField("to", "To whom", choices=(("", ""), *people), required=True)
    until = FormField("until", "To be done by", unit=building.zone, type="datetime-local", required=True)
    return "Assign", "Assign", "", [to, until, FormField("reason", "Note", optional_note="if any")]


def _report_parts(building: Building, at: datetime) -> FormParts:
    done_at = FormField("done_at", "When it was done", unit=building.zone, type="datetime-local", required=True)
    return "Report a repair", "Report", REPAIR_NOTE, [done_at, FormField("reason", "What was done", required=True)]


def _defer_parts(building: Building, at: datetime) -> FormParts:
    until = FormField("until", "Until", unit=building.zone, type="datetime-local", required=True)
    return "Defer", "Defer", DEFER_NOTE, [FormField("reason", "Why", required=True), until]


def _explain_parts(building: Building, at: datetime) -> FormParts:
    cause = FormField("cause", "Cause", required=True, hint="In a word or two.")
    return "Explain", "Explain", "", [cause, FormField("reason", "How you know", required=True)]


_PARTS_BY_KIND: dict[str, Callable[[Building, datetime], FormParts]] = {
    "assigned": _assign_parts,
    "repair_reported": _report_parts,
    "deferred": _defer_parts,
    "explained": _explain_parts,
}


def _assignable_people(building: Building, at: datetime) -> list[User]:
    """Return who a deficiency can be assigned to: every active user with a role at this building."""
    grants = Grant.objects.filter(
        not_ended(at), Q(building=None) | Q(building=building), portfolio=building.portfolio_id
    )
    return list(active_users_of(grants).order_by("username"))
