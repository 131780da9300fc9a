"""The sessions of a person's browsers: noted when they begin, ended by idleness, by age, or by the person.

A session ends when its row of the framework's table is gone. The rows here only say whose it is and where it is used.
"""

from collections.abc import MutableMapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

from django.conf import settings
from django.contrib.auth import HASH_SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore
from django.contrib.sessions.models import Session
from django.db.models import QuerySet

from fleet.accounts.models import BrowserSession, User

NOTE_INTERVAL = timedelta(minutes=1)  # so that a page that refreshes itself does not write each time
BEGAN, USED = "began_at", "used_at"  # seconds since 1970, kept in the session itself, where reading them costs nothing


@dataclass(frozen=True, slots=True)
class SessionTimes:
    """When a session began and was last noted as used."""

    began_at: datetime
    used_at: datetime

    def has_ended_at(self, at: datetime) -> bool:
        """Return whether it lay idle for too long, or is too old."""
        return at - self.used_at >= settings.SESSION_IDLE or at - self.began_at >= session_age()

    def is_due_at(self, at: datetime) -> bool:
        """Return whether its use is to be noted again."""
        return at - self.used_at >= NOTE_INTERVAL


def session_age() -> timedelta:
    """Return how long a session lasts at most."""
    return timedelta(seconds=settings.SESSION_COOKIE_AGE)


def times_of(session: MutableMapping[str, Any]) -> SessionTimes | None:
    """Return the times that a session carries; None for one that has none yet."""
    began_at, used_at = session.get(BEGAN), session.get(USED)
    if began_at is None or used_at is None:
        return None
    return SessionTimes(datetime.fromtimestamp(began_at, UTC), datetime.fromtimestamp(used_at, UTC))


def begin_session(*, session: Any, user: User, device: str, at: datetime) -> None:
    """Note that a browser has signed in."""
    session[BEGAN] = session[USED] = at.timestamp()
    session.save()  # a new one has no key before
    BrowserSession.objects.update_or_create(
        session_key=session.session_key,
        defaults={"user": user, "device": device, "began_at": at, "last_used_at": at},
    )


def note_use(*, session: Any, at: datetime) -> None:
    """Note that a session is used now."""
    session[USED] = at.timestamp()
    BrowserSession.objects.filter(session_key=session.session_key).update(last_used_at=at)


def forget_session(session_key: str | None) -> None:
    """Drop the row of a session that has been signed out."""
    BrowserSession.objects.filter(session_key=session_key or "").delete()


def sessions_in_force(user: User, at: datetime) -> QuerySet[BrowserSession]:
    """Return the sessions of a person that still work at `at`, the last used first."""
    alive = Session.objects.filter(expire_date__gt=at).values("session_key")
    sessions = BrowserSession.objects.filter(user=user, session_key__in=alive)
    bounds = {"last_used_at__gt": at - settings.SESSION_IDLE, "began_at__gt": at - session_age()}
    return sessions.filter(**bounds).order_by("-last_used_at", "-began_at", "id")


def end_session(*, session: UUID, user: User) -> bool:
    """End one of a person's own sessions; return whether there was one."""
    return _end_listed(BrowserSession.objects.filter(user=user, id=session)) > 0


def end_sessions(*, user: User, but: str | None = None) -> int:
    """End all sessions of a person but the one with the key `but`; return how many."""
    return _end_listed(BrowserSession.objects.filter(user=user).exclude(session_key=but or ""))


def _end_listed(sessions: QuerySet[BrowserSession]) -> int:
    keys = list(sessions.values_list("session_key", flat=True))
    Session.objects.filter(session_key__in=keys).delete()
    return BrowserSession.objects.filter(session_key__in=keys).delete()[0]


def move_session(old_key: str | None, new_key: str | None) -> None:
    """Follow a session to its new key, which a changed password gives it."""
    BrowserSession.objects.filter(session_key=old_key or "").update(session_key=new_key)


def keep_sessions(*, user: User, at: datetime) -> None:
    """Let the sessions of a person go on after a changed password, which else ends them.

    The framework compares a hash of the password with the one that each session carries.
    """
    for row in sessions_in_force(user, at):
        store = SessionStore(row.session_key)
        store[HASH_SESSION_KEY] = user.get_session_auth_hash()
        store.save()
