"""One line of the self-check."""

from dataclasses import dataclass
from datetime import datetime

WELL, BEHIND, WRONG = "well", "late", "wrong"


@dataclass(frozen=True, slots=True)
class SystemCheck:
    """One check: its status in one word, a headline and a sentence."""

    name: str
    status: str
    says: str
    sentence: str
    at: datetime | None = None
