"""A person's telephone number: which texts are accepted, and what a device dials."""

import re

from django.core.exceptions import ValidationError

LONGEST = 40  # characters, signs between the digits included
FEWEST, MOST = 5, 20  # digits
# A plus only before the first digit, perhaps in brackets; then digits with spaces, brackets and hyphens.
WRITTEN = re.compile(r"\(?\+?[0-9][0-9 ()-]*")
WRONG = f"A telephone number is {FEWEST} to {MOST} digits; spaces, brackets and hyphens may part them, a + goes first."


def dialable(text: str) -> None:
    """Raise ValidationError unless a telephone can dial this."""
    digits = sum(c.isdigit() for c in text)
    if not (WRITTEN.fullmatch(text) and FEWEST <= digits <= MOST):
        raise ValidationError(WRONG)


def dialled(text: str) -> str:
    """Return the digits and plus of a number, as in a tel: link (RFC 3966)."""
    return re.sub(r"[^0-9+]", "", text)
