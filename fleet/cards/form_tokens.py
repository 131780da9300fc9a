"""The token of a card's form: the id that its submission will have, and when the form was shown.

It is signed with the card's secret, which another site's page does not know: no session and no cookie is needed.
"""

import hmac
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.utils.crypto import salted_hmac

MAX_AGE = timedelta(hours=12)
MAX_AHEAD = timedelta(minutes=5)  # between two machines of one site
_SALT = "fleet.cards.form_tokens"


@dataclass(frozen=True, slots=True)
class FormToken:
    """Which submission a form is, and when it was shown."""

    submission: UUID
    shown_at: datetime

    def is_fresh_at(self, at: datetime) -> bool:
        """Return whether the form was shown lately enough to be taken as what is so now."""
        return -MAX_AHEAD <= at - self.shown_at <= MAX_AGE


def write_token(secret: str, token: FormToken) -> str:
    """Return the token as text, signed with a card's secret."""
    content = f"{token.submission.hex}.{int(token.shown_at.timestamp())}"
    return f"{content}.{_sign_content(secret, content)}"


def read_token(secret: str, text: str, at: datetime) -> FormToken | None:
    """Return the token that this card's secret signed, however old; None for any other text."""
    content, _, signature = text.rpartition(".")
    if not hmac.compare_digest(signature.encode(), _sign_content(secret, content).encode()):
        return None
    submission, _, seconds = content.partition(".")
    return FormToken(UUID(submission), datetime.fromtimestamp(int(seconds), at.tzinfo))


def _sign_content(secret: str, content: str) -> str:
    return salted_hmac(_SALT + secret, content, algorithm="sha256").hexdigest()[:40]
