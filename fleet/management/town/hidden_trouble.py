"""The shape of a hidden failure: its rate, the readings that show it, the right findings, and the repair.

Rates per boiler and year are invented for a lively town; they are no figures of the trade.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from fleet.management.town.story_values import Value

ReadingsShown = Mapping[str, Mapping[str, Value]]
PlaceCodes = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class HiddenTrouble:
    """One way to fail. `shows`: by procedure, the readings that differ. It stays hidden until one of these is done.

    `failing_procedures`: reported failed though no reading shows it. `passing_procedures`: pass all the same.
    `repair_actions`: actions by place. `proves`: tests by place that end the repair. `stops`: once it is found
    the boiler is left off. `only`: the kind of device it happens to. `heard`: somebody calls before any visit.
    """

    code: str
    place: str
    rate: float
    shows: ReadingsShown
    rules: tuple[str, ...]
    repair_actions: PlaceCodes
    proves: PlaceCodes
    stops: bool = True
    only: str = ""
    failing_procedures: frozenset[str] = frozenset()
    passing_procedures: frozenset[str] = frozenset()
    heard: bool = False
    needs_second_repair: bool = False  # the first repair does not help: the same test finds it again
    blinds: tuple[str, ...] = field(default=())  # places whose tests cannot be done until it is repaired
