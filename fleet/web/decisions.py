"""The forms for decisions about a deficiency: assign, report a repair, defer, explain."""

from collections.abc import Callable
from datetime import datetime
from uuid import UUID

from django.db.models import Q
from django.http import HttpRequest

from fleet import pipeline
from fleet.accounts import policy
from fleet.accounts.models import Grant, User
from fleet.deficiencies.acts import Decision
from fleet.deficiencies.queries import Shown
from fleet.errors import Refused
from fleet.portfolio.models import Building
from fleet.portfolio.news import Cause
from fleet.web.local import instant
from fleet.web.register_forms import Field, Form, Texts

OVER = ("closed", "withdrawn", "merged")
ACTIONS = {
    "assigned": "deficiency.assign",
    "repair_reported": "deficiency.report_repair",
    "deferred": "deficiency.defer",
    "explained": "deficiency.explain",
}
DEFERRED = "Deferring silences reminders. It never improves a state, and it ends by itself when the class rises."
REPORTED = "A repair that is said to be done proves nothing: it stays open until what closes it has passed."
STALE = "Somebody changed this meanwhile: look again, then decide."


def forms_for(request: HttpRequest, told: Shown, at: datetime, *, offered: bool = True) -> list[Form]:
    """Return the forms this user may send; with `offered`, only those of use in the present status."""
    row = told.row
    if offered and told.life.status in OVER:
        return []
    building = row.boiler.building
    granted = policy.grants(request.user, "board.see", at).filter(Q(building=None) | Q(building=building))
    roles = set(granted.filter(portfolio=row.portfolio_id).values_list("role", flat=True))
    may = [kind for kind, action in ACTIONS.items() if roles & policy.ACTIONS[action]]
    if offered and told.life.level == "hold":
        may = [kind for kind in may if kind != "deferred"]
    return [_form(kind, request, told, at) for kind in may]


def _form(kind: str, request: HttpRequest, told: Shown, at: datetime) -> Form:
    zone, was = told.row.boiler.building.zone, {"version": str(told.row.version)}

    def run(given: Texts, seen: Texts) -> None:
        number = int(seen["version"]) if seen["version"].isdecimal() and len(seen["version"]) < 10 else 0
        cause = Cause(who=request.user.get_username(), request_id=request.META.get("GAUGEGLASS_REQUEST_ID", ""))
        decided = {"deficiency": told.row.id, "decision": _decision(kind, given, zone), "version": number}
        try:
            pipeline.act_on_deficiency(**decided, by=request.user, at=at, cause=cause)
        except Refused as refused:
            raise (Refused("stale", STALE, status=412) if refused.status == 412 else refused) from None

    title, button, note, fields = _FORMS[kind](told.row.boiler.building, at)
    return Form(kind, title, fields, run, was, button, note)


def _decision(kind: str, given: Texts, zone: str) -> Decision:
    text = {name: value.replace("\x00", "").strip() for name, value in given.items()}
    return Decision(
        kind,
        text.get("reason", "")[: 2000 if kind == "explained" else 400],
        until=instant(text.get("until", ""), zone),
        done_at=instant(text.get("done_at", ""), zone),
        assignee=_id(text.get("to", "")),
        cause=text.get("cause", "")[:64],
    )


def _id(text: str) -> UUID | None:
    try:
        return UUID(text)
    except ValueError:
        return None


Made = tuple[str, str, str, list[Field]]


def _assign(building: Building, at: datetime) -> Made:
    people = tuple((str(u.id), u.get_full_name() or u.get_username()) for u in _people(building, at))
    to = Field("to", "To whom", choices=(("", ""), *people), required=True)
    until = Field("until", "To be done by", unit=building.zone, type="datetime-local", required=True)
    return "Assign", "Assign", "", [to, until, Field("reason", "Anything to mind", left_out="if so")]


def _report(building: Building, at: datetime) -> Made:
    done = Field("done_at", "When it was done", unit=building.zone, type="datetime-local", required=True)
    return "Report a repair", "Report", REPORTED, [done, Field("reason", "What was done", required=True)]


def _defer(building: Building, at: datetime) -> Made:
    until = Field("until", "Until", unit=building.zone, type="datetime-local", required=True)
    return "Defer", "Defer", DEFERRED, [Field("reason", "Why", required=True), until]


def _explain(building: Building, at: datetime) -> Made:
    cause = Field("cause", "Cause", required=True, hint="In a word or two.")
    return "Explain", "Explain", "", [cause, Field("reason", "How one knows", required=True)]


_FORMS: dict[str, Callable[[Building, datetime], Made]] = {
    "assigned": _assign,
    "repair_reported": _report,
    "deferred": _defer,
    "explained": _explain,
}


def _people(building: Building, at: datetime) -> list[User]:
    """Return who a deficiency can be assigned to: every active user with a role at this building."""
    granted = Grant.objects.filter(
        Q(until=None) | Q(until__gt=at), Q(building=None) | Q(building=building), portfolio=building.portfolio_id
    )
    return list(User.objects.filter(id__in=granted.values("user"), is_active=True).order_by("username"))
