"""Whether somebody is asked for a word of his own about a visit that another posted."""

from datetime import datetime

from fleet.accounts.models import User
from fleet.assessments.queries import visits_that_name


def is_asked_for_a_visit(user: User, at: datetime) -> bool:
    """Return whether a visit waits for the user's own word."""
    return visits_that_name(user).exists()
