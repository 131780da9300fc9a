"""From table rows to the frozen values that the rules read, one small function per table."""

from collections.abc import Callable, Iterable, Mapping
from typing import TypeVar

from fleet.catalog.acceptance import acceptance
from fleet.catalog.content import Content
from fleet.catalog.rows import Row
from fleet.rules.catalogue import (
    Action,
    Catalogue,
    Contradiction,
    FindingRule,
    Hazard,
    Kind,
    Observation,
    Procedure,
    ReadingSpec,
    Role,
    TouchRule,
    Variant,
)

PARTS = ("protection", "initiator", "input_path", "output_path", "reference")
QUALIFICATIONS = ("operator", "technician", "fire_side", "valve_shop", "inspector", "utility")
TOUCHES = ("open", "adjust", "disconnect", "jumper")
LEVELS = ("hold", "urgent", "routine")
FAILS = ("device", "path", "presumed", "none")
JOINS = ("", "air_or_vent", "flue_gas")
READINGS = ("bool", "number", "choice")
PROOFS = ("full", "partial", "due_only", "none")
SIDES = ("water", "pressure", "fire", "season")
OTHERWISE = ("", "fail", "inconclusive", "not_a_test")

T = TypeVar("T")


def build(content: Content, release: int) -> Catalogue:
    """Build the catalogue. Every bad cell and every repeated code is noted on its row."""
    table = content.tables
    return Catalogue(
        release=release,
        hazards=_by_code(table["hazards.csv"], _hazard),
        kinds=_by_code(table["kinds.csv"], _kind),
        roles=_by_code(table["roles.csv"], _role),
        procedures=_procedures(content),
        touches=_touches(table["touches.csv"]),
        findings=_by_code(table["findings.csv"], lambda row: _finding(row, content.texts.get("first_acts", {}))),
        actions=_by_code(table["actions.csv"], _action),
        observations=_by_code(table["observations.csv"], _observation),
        variants=_variants(table["variants.csv"]),
        contradictions=tuple(_keyed(table["contradictions.csv"], ("first", "second"), _contradiction).values()),
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
    texts = {section: content.texts.get(section, {}) for section in ("cautions", "steps")}

    def make(row: Row) -> Procedure:
        code = row.text("code")
        readings = {name: spec for (procedure, name), spec in specs.items() if procedure == code}
        steps = texts["steps"].get(code, "")
        return _procedure(row, readings, texts["cautions"].get(code, ""), tuple(steps.split("\n")) if steps else ())

    return _by_code(content.tables["procedures.csv"], make)


def _procedure(row: Row, readings: Mapping[str, ReadingSpec], caution: str, steps: tuple[str, ...]) -> Procedure:
    proof, interval = row.choice("proof", PROOFS), row.interval("interval")
    if proof != "none" and interval is None and not row.cells.get("interval"):
        # Without an interval a proof would never be due again.
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
        side=row.choice("side", SIDES),
        steps=steps,
        tools=row.listed("tools"),
        parts=row.listed("parts"),
        minutes=row.count("minutes"),
        # Releases older than this column need one person.
        people=2 if row.choice("people", ("", "2")) == "2" else 1,
        voids=row.choice("voids", ("", *TOUCHES)),
        fails_as=row.text("fails_as", needed=False),
    )


def _variants(rows: Iterable[Row]) -> dict[tuple[str, str], Variant]:
    return {key: made for key, made in _keyed(rows, ("procedure", "variant"), _variant).items() if made is not None}


def _variant(row: Row) -> Variant | None:
    interval, told = row.interval("interval"), (row.text("procedure"), row.text("variant"))
    rest = row.choice("anchor", ("", "season")), row.count("grace_days"), row.flag("due_only"), row.text("source")
    if interval is None:
        row.text("interval")
        return None
    return Variant(*told, interval, *rest)


def _contradiction(row: Row) -> Contradiction:
    pair = row.text("first"), row.text("second")
    told = row.text("sentence"), row.text("source"), frozenset(row.listed("tested_by"))
    return Contradiction(*pair, row.count("window_minutes"), row.flag("same_place"), *told)


def _reading(row: Row) -> ReadingSpec:
    kind, choices = row.choice("type", READINGS), row.listed("choices")
    low, high = row.number("low"), row.number("high")
    if (kind == "choice") != bool(choices):
        row.fault("bad_value", "choices", "must stand with type choice, and with no other")
    if kind == "number" and (low is None or high is None or low >= high):
        row.fault("bad_value", "low", "must stand below high: together they bound what is physically possible")
    rule, otherwise, finding = acceptance(row), row.choice("else", OTHERWISE), row.text("finding", needed=False)
    if bool(row.cells.get("rule")) != bool(otherwise):
        row.fault("bad_value", "else", "must stand where a rule stands, and nowhere else")
    if finding and otherwise != "fail":
        row.fault("bad_value", "finding", "is fired by a reading that fails, and by no other")
    told = row.text("accept", needed=bool(rule)), row.text("source")
    unit, required = row.text("unit", needed=False), row.flag("required")
    judged = rule, otherwise or "fail", finding
    return ReadingSpec(row.text("name"), kind, unit, low, high, choices, required, *told, *judged)


def _touches(rows: Iterable[Row]) -> dict[tuple[str, str], TouchRule]:
    """Return the touch rules. Of the rows of one kind and touch, one procedure of each row must pass."""
    made: dict[tuple[str, str], TouchRule] = {}
    for row in rows:
        kind, touch = row.text("kind"), row.choice("touch", (*TOUCHES, "path"))
        before = made[kind, touch].needs if (kind, touch) in made else ()
        needs = frozenset(row.listed("needs", True))
        if any(needs & group for group in before):
            row.fault("duplicate", "needs", f"of '{kind} {touch}' something stands there twice")
        made[kind, touch] = TouchRule(kind, touch, (*before, needs))
    return made


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
        needs_cause=row.flag("needs_cause"),
        needs_manager=row.flag("needs_manager"),
        needs_work=row.flag("needs_work"),
        closes_by_readings=row.flag("closes_by_readings"),
        tested_in_place=row.flag("tested_in_place"),
        closes_unneeded=row.flag("closes_unneeded"),
        recurs=row.flag("recurs"),
        blinds_gauge=row.flag("blinds_gauge"),
        joins=row.choice("joins", JOINS),
    )


def _action(row: Row) -> Action:
    touch, repairs = row.choice("touch", ("", *TOUCHES)), row.flag("repairs")
    return Action(row.text("code"), row.text("name"), touch, repairs, row.text("source"))


def _observation(row: Row) -> Observation:
    finding, roles = row.text("finding", needed=False), frozenset(row.listed("roles"))
    return Observation(row.text("code"), row.text("name"), finding, roles, row.text("source"))
