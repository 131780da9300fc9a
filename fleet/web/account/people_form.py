"""What stands in the forms of the people's pages: choices, what was typed, and its faults."""

from dataclasses import dataclass, field
from uuid import UUID

from fleet.accounts.people import ROLES
from fleet.portfolio.models import Building, Portfolio
from fleet.rules.vocabulary import QUALIFICATIONS


@dataclass(slots=True)
class PeopleForm:
    """What stands in a form of one portfolio's people: choices, what was typed, and its faults."""

    portfolio: Portfolio
    person: UUID | None = None  # of whom; None: a new person
    typed: dict[str, str] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)
    welcome: str = ""  # where a new person chooses a password; shown once
    roles: tuple[str, ...] = ROLES
    qualifications: tuple[str, ...] = tuple(QUALIFICATIONS)

    @property
    def buildings(self) -> list[Building]:
        """The buildings that a role may be limited to."""
        return list(Building.objects.filter(portfolio=self.portfolio).order_by("address"))
