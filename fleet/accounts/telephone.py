"""A person's telephone number: which texts are accepted, and what a device dials."""

import re

from django.core.exceptions import ValidationError

LONGEST = 40  # characters, signs between the digits included
MIN_DIGITS, MAX_DIGITS = 5, 20  # digits
# A plus only before the first digit, perhaps in brackets; then digits with spaces, brackets and hyphens.
NUMBER_PATTERN = re.compile(r"\(?\+?[0-9][0-9 ()-]*")
NUMBER_RULE = (
    f"A telephone number has {MIN_DIGITS} to {MAX_DIGITS} digits. "
    "It may start with + and contain spaces, parentheses and hyphens."
)


def dialable(text: str) -> None:
    """Raise ValidationError unless a telephone can dial this."""
    digits = sum(c.isdigit() for c in text)
    if not (NUMBER_PATTERN.fullmatch(text) and MIN_DIGITS <= digits <= MAX_DIGITS):
        raise ValidationError(NUMBER_RULE)


def digits_to_dial(text: str) -> str:
    """Return the digits and plus of a number, as in a tel: link (RFC 3966)."""
    return re.sub(r"[^0-9+]", "", text)
