"""Addresses inside messages: pages of this site, and the links that acknowledge or stop, signed and expiring."""

from datetime import timedelta
from uuid import UUID

from django.conf import settings
from django.core import signing

ANSWER_SALT, STOP_SALT = "gaugeglass.notices.answer", "gaugeglass.notices.stop"
CONFIRM_SALT = "gaugeglass.notices.confirm"
ANSWER_TIME, STOP_TIME, CONFIRM_TIME = timedelta(days=3), timedelta(days=90), timedelta(days=7)


def page_address(path: str) -> str:
    """Return the whole address of a page of this site."""
    return settings.SITE_ADDRESS.rstrip("/") + path


def answer_address(notice: UUID) -> str:
    """Return the link that opens the page on which the alerts of a notice are acknowledged."""
    return page_address(f"/notices/answer/{signing.dumps(str(notice), salt=ANSWER_SALT)}/")


def stop_address(user: UUID, kind: str) -> str:
    """Return the link that ends notices of this kind for a person, with one click (RFC 8058)."""
    return page_address(f"/notices/stop/{signing.dumps([str(user), kind], salt=STOP_SALT)}/")


def notice_of_answer(token: str) -> UUID | None:
    """Return the notice of a link to acknowledge; None where it was changed or its time is over."""
    try:
        return UUID(str(signing.loads(token, salt=ANSWER_SALT, max_age=ANSWER_TIME)))
    except (signing.BadSignature, ValueError):
        return None


def person_and_kind_of_stop(token: str) -> tuple[UUID, str] | None:
    """Return whom a link to stop is for, and which kind it ends; None where it was changed or its time is over."""
    try:
        user, kind = signing.loads(token, salt=STOP_SALT, max_age=STOP_TIME)
        return UUID(str(user)), str(kind)
    except (signing.BadSignature, ValueError, TypeError):
        return None


def confirm_address_link(destination: UUID) -> str:
    """Return the link that opens the page on which an address is confirmed."""
    return page_address(f"/notices/confirm/{signing.dumps(str(destination), salt=CONFIRM_SALT)}/")


def destination_of_confirmation(token: str) -> UUID | None:
    """Return the address of a link that confirms it; None where it was changed or its time is over."""
    try:
        return UUID(str(signing.loads(token, salt=CONFIRM_SALT, max_age=CONFIRM_TIME)))
    except (signing.BadSignature, ValueError):
        return None
