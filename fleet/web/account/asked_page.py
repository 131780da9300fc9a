"""The page of what other portfolios ask of one: to do a job, to take a role, to be named as qualified."""

from datetime import datetime

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from fleet import pipeline
from fleet.accounts.models import User
from fleet.accounts.requests import cause_of, user_of
from fleet.jobs import asked
from fleet.jobs.asked_versions import qualification_version, role_version
from fleet.pipeline.requests import KINDS
from fleet.web.shared.pages import signed_in_action, signed_in_page
from fleet.web.shared.write_attempts import attempt_write

ANSWERS = {"accept": True, "decline": False}


@signed_in_page
def show_asked(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show all that waits for the answer of the signed-in user."""
    return render(request, "account/asked.html", _asked_context(user_of(request), at))


@signed_in_action("/asked/")
def answer_asked(request: HttpRequest, at: datetime, kind: str, subject: str) -> HttpResponse:
    """Take one answer and return to the page; faults are shown at its top."""
    user = user_of(request)
    word = request.POST.get("answer", "")
    if kind not in KINDS or word not in ANSWERS:
        raise Http404
    reason = request.POST.get("reason", "").strip()[:400]
    version = request.POST.get("version", "")
    answer = pipeline.RequestAnswer(kind, subject, ANSWERS[word], version=version, reason=reason)
    faults, status = attempt_write(
        lambda: pipeline.answer_request(answer=answer, by=user, at=at, cause=cause_of(request)), {"reason": "Reason"}
    )
    if faults:
        return render(request, "account/asked.html", {**_asked_context(user, at), "faults": faults}, status=status)
    return redirect("/asked/")


def _asked_context(user: User, at: datetime) -> dict[str, object]:
    requests = asked.note_requests(user, at)
    versions = {
        **{str(row.id): role_version(row) for row in requests.roles},
        **{str(row.id): qualification_version(row) for row in requests.qualifications},
    }
    return {"requests": requests, "versions": versions, "zone": "UTC", "here": "asked"}
