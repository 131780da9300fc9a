"""Plain values of a story: houses, boilers, visits, register facts, and the hidden truth."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

Value = bool | float | str | None


@dataclass(frozen=True, slots=True)
class TownPlace:
    """A position as in a register sheet. `kind` '': the place is empty. `shared`: it belongs to the header group."""

    ref: str
    name: str
    role: str
    kind: str
    hangs_on: tuple[str, ...] = ()
    values: Mapping[str, Value] = field(default_factory=dict)
    fitted_on: date | None = None
    shared: bool = False


@dataclass(frozen=True, slots=True)
class TownBoiler:
    """One boiler with its places by ref. `seasonal`: it is laid up in summer."""

    house: str
    ref: str
    name: str
    since: date
    values: Mapping[str, Value]
    places: Mapping[str, TownPlace]
    seasonal: bool = True

    @property
    def key(self) -> str:
        """Its natural key within the portfolio."""
        return f"{self.house} {self.ref}"

    def filled_refs(self, *refs: str) -> list[str]:
        """Return those of `refs` that exist and are filled."""
        return [ref for ref in refs if ref in self.places and self.places[ref].kind]


@dataclass(frozen=True, slots=True)
class TownHouse:
    """One building with its boilers and its caretaker."""

    ref: str
    address: str
    units: int
    access_hours: str
    caretaker: str
    boilers: tuple[TownBoiler, ...]
    coordinates: tuple[float, float]


@dataclass(frozen=True, slots=True)
class TownMember:
    """A person of the town who signs in."""

    username: str
    name: str
    role: str
    qualifications: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class TownLine:
    """One line of a visit. `place` '': the boiler as a whole. `minute` counts from the beginning of the visit."""

    act: str
    code: str
    place: str
    minute: int = 0
    outcome: str = ""
    readings: Mapping[str, Value] = field(default_factory=dict)
    kind: str = ""
    values: Mapping[str, Value] = field(default_factory=dict)
    reason: str = ""


@dataclass(frozen=True, slots=True)
class TownVisit:
    """A visit as posted. `key` names it within its boiler; `corrects` is the key of the visit it corrects.

    `again_at`: when a phone that missed the answer posts it again. `second`: who confirms the correction, and when.
    """

    key: str
    boiler: str
    kind: str
    at: datetime
    posted_at: datetime
    people: tuple[str, ...]
    lines: tuple[TownLine, ...]
    state_on_arrival: str = "unknown"
    left_as: str = ""
    checks: Mapping[str, object] = field(default_factory=dict)
    note: str = ""
    corrects: str = ""
    reason: str = ""
    void: bool = False
    again_at: datetime | None = None
    second: tuple[str, datetime] | None = None


@dataclass(frozen=True, slots=True)
class TownServiceState:
    """A boiler's service state from an instant on."""

    boiler: str
    state: str
    since: datetime


@dataclass(frozen=True, slots=True)
class TownPaper:
    """A dated paper of a house."""

    house: str
    kind: str
    name: str
    since: date
    until: date


@dataclass(slots=True, eq=False)
class Failure:
    """The truth about one failure. `how`: hidden, found (by `visit`), lost (cleaned before it was seen) or staged.

    `rules`: the findings that are right once it is found.
    """

    boiler: str
    place: str
    trouble: str
    failed_at: datetime
    rules: tuple[str, ...]
    how: str = "hidden"
    found_at: datetime | None = None
    visit: str = ""
    repaired_at: datetime | None = None


@dataclass(slots=True)
class Story:
    """The story of one portfolio, and separately the hidden truth."""

    ref: str
    name: str
    people: tuple[TownMember, ...]
    houses: tuple[TownHouse, ...]
    visits: list[TownVisit] = field(default_factory=list)
    services: list[TownServiceState] = field(default_factory=list)
    papers: list[TownPaper] = field(default_factory=list)
    terms: Mapping[str, object] = field(default_factory=dict)
    truth: list[Failure] = field(default_factory=list)

    @property
    def boilers(self) -> dict[str, TownBoiler]:
        """By key."""
        return {b.key: b for h in self.houses for b in h.boilers}
