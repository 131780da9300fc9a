"""How a visit found each place, what was done to it, and how it was left.

As found is the first attempt of a test before anything was done to the device or to a path it hangs on, unless the
entry states its phase. A pass as found of a place that was not worked on is also how it was left.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID

from fleet.assessments.queries import EntryLine
from fleet.portfolio.models import Position, Setting
from fleet.rules.vocabulary import WORK_ACTS, EntryAct, Outcome

FOUND_PHASE, LEFT_PHASE = "as_found", "as_left"


@dataclass(slots=True)
class VisitSide:
    """The entries of one place in one visit."""

    place: Position
    found_lines: list[EntryLine] = field(default_factory=list)
    done_lines: list[EntryLine] = field(default_factory=list)
    left_lines: list[EntryLine] = field(default_factory=list)
    through: list[str] = field(default_factory=list)  # names of paths that were worked on

    @property
    def as_left(self) -> str:
        """The text under *as left* where nothing was tested again."""
        if self.left_lines:
            return ""
        if self.done_lines or self.through:
            return "Not tried again after the work."
        judged = [line.verdict for line in self.found_lines if line.verdict is not None]
        if not judged:
            return ""
        all_passed = all(verdict.outcome == Outcome.PASS for verdict in judged)
        return "As found: nothing was done to it." if all_passed else "Left as found."


def visit_sides(lines: Sequence[EntryLine], at: datetime) -> list[VisitSide]:
    """Return the places of a visit in the order of their first entries; one query, for paths."""
    places = {line.entry.position_id: line.entry.position for line in lines if line.entry.position_id}
    sides_by_place = {place: VisitSide(position) for place, position in places.items() if position}
    paths = _paths_of_places(sides_by_place, at)
    tried_tests: set[tuple[UUID, str]] = set()
    touched: dict[UUID, str] = {}
    for line in lines:
        place = line.entry.position_id
        if place not in sides_by_place:
            continue
        if line.entry.act in WORK_ACTS:
            sides_by_place[place].done_lines.append(line)
            position = places[place]
            touched[place] = position.name if position else ""
        elif line.entry.act == EntryAct.TEST:
            _put_line(
                sides_by_place[place],
                line,
                [touched[p] for p in (place, *paths.get(place, ())) if p in touched],
                tried_tests,
            )
    for place, side in sides_by_place.items():
        side.through = [touched[p] for p in paths.get(place, ()) if p in touched]
    return list(sides_by_place.values())


def _put_line(side: VisitSide, line: EntryLine, worked: Sequence[str], tried_tests: set[tuple[UUID, str]]) -> None:
    attempt = (side.place.id, line.entry.code)
    first = attempt not in tried_tests
    tried_tests.add(attempt)
    phase = line.entry.phase or (FOUND_PHASE if first and not worked else LEFT_PHASE)
    (side.found_lines if phase == FOUND_PHASE else side.left_lines).append(line)


def _paths_of_places(places: Iterable[UUID], at: datetime) -> Mapping[UUID, tuple[UUID, ...]]:
    """Return what each place hangs on at `at`; of two statements about one instant the one posted later holds."""
    statements = Setting.objects.filter(position__in=list(places), key="paths", since__lte=at).order_by(
        "since", "posted_at"
    )
    return {place: tuple(UUID(str(p)) for p in value) for place, value in statements.values_list("position", "value")}
