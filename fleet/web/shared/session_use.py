"""Middleware and receivers that note the sessions of browsers, and end one that lay idle or is too old."""

from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.contrib.auth import SESSION_KEY, logout
from django.contrib.auth.signals import user_logged_in, user_logged_out
from django.dispatch import receiver
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from fleet.accounts import browser_sessions
from fleet.accounts.device_words import describe_device
from fleet.records.disk_room import has_room

NOTICE_PATH = "/fresh/"  # asked by every open page by itself: it is no use by anybody


class SessionUseMiddleware:
    """Ends a session that lay idle or is too old, before anybody asks whose it is; notes that the others are used."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Look at the session of a request that carries one. A key of a device needs none."""
        if settings.SESSION_COOKIE_NAME in request.COOKIES and SESSION_KEY in request.session:
            _look_at_session(request)
        return self.get_response(request)


def _look_at_session(request: Any) -> None:
    at, times = timezone.now(), browser_sessions.times_of(request.session)
    if times is None:  # it began before sessions were noted
        if request.user.is_authenticated:
            _note_beginning(request, request.user)
    elif times.has_ended_at(at):
        logout(request)
    elif times.is_due_at(at) and request.path != NOTICE_PATH and has_room():  # a full disk is only read from
        browser_sessions.note_use(session=request.session, at=at)


@receiver(user_logged_in, dispatch_uid="note the beginning of a session")
def _note_sign_in(request: object, user: object, **_: object) -> None:
    _note_beginning(request, user)


def _note_beginning(request: Any, user: Any) -> None:
    device = describe_device(request.META.get("HTTP_USER_AGENT", ""))
    browser_sessions.begin_session(session=request.session, user=user, device=device, at=timezone.now())


@receiver(user_logged_out, dispatch_uid="forget a session")
def _forget_session(request: Any, **_: object) -> None:
    browser_sessions.forget_session(request.session.session_key)
