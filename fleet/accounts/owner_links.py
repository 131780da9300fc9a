"""The link by which the owner of a new portfolio comes in: signed, good for three days, used up by the portfolio."""

from datetime import timedelta
from uuid import UUID, uuid4

from django.core import signing

SALT = "fleet.accounts.owner_links"
LIFETIME = timedelta(days=3)


def make_token() -> str:
    """Return a token for a portfolio that is not there yet."""
    return signing.dumps(str(uuid4()), salt=SALT)


def read_token(token: str) -> UUID | None:
    """Return the id of the portfolio that a token is for; None where it is forged, changed or too old."""
    try:
        return UUID(signing.loads(token, salt=SALT, max_age=LIFETIME))
    except (signing.BadSignature, ValueError, TypeError):
        return None
