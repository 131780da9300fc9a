"""The links in messages: each opens a page that asks, since programs that scan mail follow links; only a form acts.

Nobody needs to sign in. The signed address names the person, expires, and works for this one thing.
"""

from datetime import datetime
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from fleet import pipeline
from fleet.errors import Refused
from fleet.notices.addresses import confirm_address, stop_kind
from fleet.notices.models import Destination, Notice
from fleet.notices.writing.links import destination_of_confirmation, notice_of_answer, person_and_kind_of_stop
from fleet.records.events import Cause


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def answer_notice(request: HttpRequest, token: str) -> HttpResponse:
    """Ask whether the alerts of a notice are to be acknowledged; a post acknowledges them, once."""
    at = timezone.now()
    notice_id = notice_of_answer(token)
    notice = Notice.objects.filter(id=notice_id).select_related("user").first() if notice_id else None
    if notice is None or not notice.user.is_active:
        return _show_over(request, 404)
    if request.method == "POST":
        return _acknowledge_notice(request, notice, at)
    alerts = [] if notice.answered_at else pipeline.answerable_alerts(notice, notice.user, at)
    context = {"notice": notice, "alerts": alerts, "as_of": at}
    return render(request, "notices/answer.html", context, status=200 if alerts else 410)


def _acknowledge_notice(request: HttpRequest, notice: Notice, at: datetime) -> HttpResponse:
    cause = Cause(who=notice.user.get_username(), request_id=getattr(request, "id", ""))
    try:
        alerts = pipeline.acknowledge_notice(notice=notice.id, by=notice.user, at=at, cause=cause)
    except Refused:
        return _show_over(request, 410)
    return render(request, "notices/answered.html", {"notice": notice, "alerts": alerts, "as_of": at})


@csrf_exempt  # RFC 8058: a mail program posts it without ever opening a page; the address itself is the secret
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def stop_notices(request: HttpRequest, token: str) -> HttpResponse:
    """Ask whether messages of a kind are to stop; a post stops them."""
    stop_target = person_and_kind_of_stop(token)
    if stop_target is None:
        return _show_over(request, 404)
    user, kind = stop_target
    is_stopped = request.method == "POST" and stop_kind(user=user, kind=kind)
    return render(request, "notices/stop.html", {"kind": kind, "is_stopped": is_stopped})


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def confirm_own_address(request: HttpRequest, token: str) -> HttpResponse:
    """Ask whether an address is the person's own; a post confirms it."""
    destination_id: UUID | None = destination_of_confirmation(token)
    rows = Destination.objects.filter(ended_at=None).select_related("user")
    row = rows.filter(id=destination_id).first() if destination_id else None
    if destination_id is None or row is None:
        return _show_over(request, 404)
    if request.method == "POST":
        row = confirm_address(destination=destination_id, at=timezone.now()) or row
    return render(request, "notices/confirm.html", {"row": row})


def _show_over(request: HttpRequest, status: int) -> HttpResponse:
    return render(request, "notices/over.html", status=status)
