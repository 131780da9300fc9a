"""The form of an incident of the town."""

from dataclasses import dataclass

from fleet.management.town.story_values import TownLine


@dataclass(frozen=True, slots=True)
class Incident:
    """One kind of incident. `found_lines` and `repair_lines` belong to its two visits; `rate` is per year.

    `needs`: places the boiler must have. `by`: the role that comes. `arrival`: state of the boiler then. `papers`: only
    this role ends it. `days`: visits with the same observation so many days before. `left_as`: how the boiler is left.
    """

    code: str
    rate: float
    needs: tuple[str, ...]
    found_lines: tuple[TownLine, ...]
    repair_lines: tuple[TownLine, ...]
    rules: tuple[str, ...]
    arrival: str = "unknown"
    by: str = "technician"
    papers: str = ""
    days: tuple[int, ...] = ()
    left_as: str = "off_locked"
