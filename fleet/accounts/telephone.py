"""A person's telephone number: what may be kept as one, and what a device dials for it."""

import re

from django.core.exceptions import ValidationError

LONGEST = 40  # characters, signs between the digits included
FEWEST, MOST = 5, 20  # digits
# A plus before the first digit alone, in brackets or not; then digits with spaces, brackets and hyphens between.
WRITTEN = re.compile(r"\(?\+?[0-9][0-9 ()-]*")
WRONG = f"A telephone number is {FEWEST} to {MOST} digits; spaces, brackets and hyphens may part them, a + goes first."


def dialable(text: str) -> None:
    """Raise ValidationError unless a telephone could dial this."""
    digits = sum(c.isdigit() for c in text)
    if not (WRITTEN.fullmatch(text) and FEWEST <= digits <= MOST):
        raise ValidationError(WRONG)


def dialled(text: str) -> str:
    """The number without what only parts it, as a link to dial it holds it (RFC 3966)."""
    return re.sub(r"[^0-9+]", "", text)
