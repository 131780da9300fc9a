"""From rows to the frozen values that rules read, one small function per table."""

from collections.abc import Callable, Iterable, Mapping
from typing import TypeVar

from fleet.catalog.content import Content
from fleet.catalog.rows import Row
from fleet.rules.catalogue import (
    Action,
    Catalogue,
    FindingRule,
    Hazard,
    Kind,
    Observation,
    Procedure,
    ReadingSpec,
    Role,
    TouchRule,
)

PARTS = ("protection", "initiator", "input_path", "output_path", "reference")
QUALIFICATIONS = ("operator", "technician", "fire_side_licence", "valve_shop", "inspector", "utility")
TOUCHES = ("open", "adjust", "disconnect", "jumper")
LEVELS = ("hold", "urgent", "routine")
FAILS = ("device", "path", "presumed", "none")
READINGS = ("bool", "number", "choice")

T = TypeVar("T")


def build(content: Content, release: int) -> Catalogue:
    """Build the catalogue; every bad cell and every code that stands twice is noted on its row."""
    table = content.tables
    return Catalogue(
        release=release,
        hazards=_by_code(table["hazards.csv"], _hazard),
        kinds=_by_code(table["kinds.csv"], _kind),
        roles=_by_code(table["roles.csv"], _role),
        procedures=_procedures(content),
        touches=_keyed(table["touches.csv"], ("kind", "touch"), _touch),
        findings=_by_code(table["findings.csv"], lambda row: _finding(row, content.texts.get("first_acts", {}))),
        actions=_by_code(table["actions.csv"], _action),
        observations=_by_code(table["observations.csv"], _observation),
    )


def _by_code(rows: Iterable[Row], make: Callable[[Row], T]) -> dict[str, T]:
    made: dict[str, T] = {}
    for row in rows:
        code = row.text("code")
        if code in made:
            row.fault("duplicate", "code", f"{code!r} stands there twice")
        made[code] = make(row)
    return made


def _keyed(rows: Iterable[Row], columns: tuple[str, str], make: Callable[[Row], T]) -> dict[tuple[str, str], T]:
    made: dict[tuple[str, str], T] = {}
    for row in rows:
        key = row.text(columns[0]), row.text(columns[1])
        if key in made:
            row.fault("duplicate", columns[1], f"{' '.join(key)!r} stands there twice")
        made[key] = make(row)
    return made


def _hazard(row: Row) -> Hazard:
    return Hazard(row.text("code"), row.text("name"), row.flag("stops_firing"))


def _kind(row: Row) -> Kind:
    return Kind(row.text("code"), row.text("name"), frozenset(row.listed("attributes")), row.text("source"))


def _role(row: Row) -> Role:
    part, kinds = row.choice("part", PARTS), frozenset(row.listed("kinds", needed=True))
    flags = row.count("order"), row.flag("last_line")
    return Role(row.text("code"), row.text("name"), part, row.text("hazard"), *flags, kinds)


def _procedures(content: Content) -> dict[str, Procedure]:
    specs = _keyed(content.tables["readings.csv"], ("procedure", "name"), _reading)
    cautions = content.texts.get("cautions", {})

    def make(row: Row) -> Procedure:
        code = row.text("code")
        readings = {name: spec for (procedure, name), spec in specs.items() if procedure == code}
        return _procedure(row, readings, cautions.get(code, ""))

    return _by_code(content.tables["procedures.csv"], make)


def _procedure(row: Row, readings: Mapping[str, ReadingSpec], caution: str) -> Procedure:
    proof, interval = row.choice("proof", ("full", "partial", "none")), row.interval("interval")
    if proof != "none" and interval is None and not row.cells.get("interval"):
        # A proof without an interval would never be due again.
        row.fault("empty", "interval", "is needed where the procedure is a proof")
    return Procedure(
        code=row.text("code"),
        name=row.text("name"),
        kinds=frozenset(row.listed("kinds", needed=True)),
        proof=proof,
        interval=interval,
        anchor=row.choice("anchor", ("", "season")),
        grace_days=row.count("grace_days"),
        who=row.choices("who", QUALIFICATIONS, needed=True),
        covers=frozenset(row.listed("covers")),
        judged_by=row.text("judged_by"),
        readings=readings,
        source=row.text("source"),
        caution=caution,
    )


def _reading(row: Row) -> ReadingSpec:
    kind, choices = row.choice("type", READINGS), row.listed("choices")
    low, high = row.number("low"), row.number("high")
    if (kind == "choice") != bool(choices):
        row.fault("bad_value", "choices", "must stand with type choice, and with no other")
    if kind == "number" and (low is None or high is None or low >= high):
        row.fault("bad_value", "low", "must stand below high: together they bound what is physically possible")
    told = row.text("accept", needed=False), row.text("source")
    unit = row.text("unit", needed=False)
    return ReadingSpec(row.text("name"), kind, unit, low, high, choices, row.flag("required"), *told)


def _touch(row: Row) -> TouchRule:
    return TouchRule(row.text("kind"), row.choice("touch", (*TOUCHES, "path")), frozenset(row.listed("needs", True)))


def _finding(row: Row, first_acts: Mapping[str, str]) -> FindingRule:
    code = row.text("code")
    return FindingRule(
        code=code,
        level=row.choice("level", LEVELS),
        fails=row.choice("fails", FAILS),
        title=row.text("title"),
        first_act=first_acts.get(code, ""),
        clears_by=frozenset(row.listed("clears_by")),
        source=row.text("source"),
    )


def _action(row: Row) -> Action:
    touch, repairs = row.choice("touch", ("", *TOUCHES)), row.flag("repairs")
    return Action(row.text("code"), row.text("name"), touch, repairs, row.text("source"))


def _observation(row: Row) -> Observation:
    finding, roles = row.text("finding", needed=False), frozenset(row.listed("roles", needed=True))
    return Observation(row.text("code"), row.text("name"), finding, roles, row.text("source"))
