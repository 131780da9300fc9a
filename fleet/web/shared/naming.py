"""Whether somebody is asked for a word of his own about a visit that another posted."""

from datetime import datetime
from typing import Any

from fleet.accounts import policy
from fleet.assessments.queries import visits_that_name


def is_asked_for_a_visit(user: Any, at: datetime) -> bool:
    """Return whether a visit that the user may see waits for his own word."""
    return visits_that_name(user.id, policy.boilers_for(user, "visit.see", at)).exists()
