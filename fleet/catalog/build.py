"""From table rows to the frozen values that the rules read, one small function per table."""

from collections.abc import Callable, Iterable, Mapping
from typing import TypeVar

from fleet.catalog.acceptance import read_acceptance
from fleet.catalog.content import Content
from fleet.catalog.rows import TableRow
from fleet.catalog.tables import SOURCES_FILE
from fleet.rules.catalogue import (
    Action,
    Catalogue,
    Contradiction,
    FindingRule,
    Hazard,
    KindSpec,
    NeededRole,
    NeedExposure,
    Observation,
    ProcedureSpec,
    ReadingSpec,
    RoleSpec,
    SourceSpec,
    TouchRule,
    Variant,
)
from fleet.rules.needed_roles import VALUE_NAMES
from fleet.rules.values import LEVELS
from fleet.rules.vocabulary import BOILER_CHOICES, QUALIFICATIONS

ROLE_PARTS = ("protection", "initiator", "input_path", "output_path", "reference")
TOUCHES = ("open", "adjust", "disconnect", "jumper")
FAILURE_KINDS = ("device", "path", "presumed", "none")
JOINS = ("", "air_or_vent", "flue_gas", "soot")
READING_TYPES = ("bool", "number", "choice")
PROOFS = ("full", "partial", "due_only", "none")
SIDES = ("water", "pressure", "fire", "season")
ELSE_OUTCOMES = ("", "fail", "inconclusive", "not_a_test")
MAX_LIFE_YEARS = 99
NEED_CONDITIONS = (*BOILER_CHOICES, "fitted", "input_from")

T = TypeVar("T")


def build_catalogue(content: Content, release: int) -> Catalogue:
    """Build the catalogue. Every bad cell and every repeated code is noted on its row."""
    table = content.tables
    return Catalogue(
        release=release,
        hazards=_by_code(table["hazards.csv"], _build_hazard),
        kinds=_by_code(table["kinds.csv"], _build_kind),
        roles=_by_code(table["roles.csv"], _build_role),
        procedures=_build_procedures(content),
        touches=_build_touches(table["touches.csv"]),
        findings=_by_code(table["findings.csv"], lambda row: _build_finding(row, content.texts.get("first_acts", {}))),
        actions=_by_code(table["actions.csv"], _build_action),
        observations=_by_code(table["observations.csv"], _build_observation),
        variants=_build_variants(table["variants.csv"]),
        contradictions=tuple(_by_pair(table["contradictions.csv"], ("first", "second"), _build_contradiction).values()),
        sources=_by_code(table[SOURCES_FILE], _build_source, key="number"),
        needed_roles=tuple(_by_code(table["needed_roles.csv"], _build_needed_role).values()),
    )


def _by_code(rows: Iterable[TableRow], make: Callable[[TableRow], T], key: str = "code") -> dict[str, T]:
    by_code: dict[str, T] = {}
    for row in rows:
        code = row.text_of(key)
        if code in by_code:
            row.note_fault("duplicate", key, f"{code!r} stands there twice")
        by_code[code] = make(row)
    return by_code


def _by_pair(
    rows: Iterable[TableRow], columns: tuple[str, str], make: Callable[[TableRow], T]
) -> dict[tuple[str, str], T]:
    by_pair: dict[tuple[str, str], T] = {}
    for row in rows:
        key = row.text_of(columns[0]), row.text_of(columns[1])
        if key in by_pair:
            row.note_fault("duplicate", columns[1], f"{' '.join(key)!r} stands there twice")
        by_pair[key] = make(row)
    return by_pair


def _build_source(row: TableRow) -> SourceSpec:
    return SourceSpec(**{column: row.text_of(column) for column in SourceSpec.__slots__})


def _build_hazard(row: TableRow) -> Hazard:
    return Hazard(row.text_of("code"), row.text_of("name"), row.is_yes("stops_firing"))


def _build_kind(row: TableRow) -> KindSpec:
    return KindSpec(
        row.text_of("code"),
        row.text_of("name"),
        frozenset(row.parts_of("attributes")),
        row.text_of("source"),
        life_years=_read_life_years(row),
        life_source=row.text_of("life_source", needed=False),
    )


def _read_life_years(row: TableRow) -> int | None:
    """Return the years of a kind; None where the cell is empty, or the release older than the column."""
    cell = row.text_of("life_years", needed=False)
    if not cell:
        return None
    if cell.isascii() and cell.isdigit() and 1 <= int(cell) <= MAX_LIFE_YEARS:
        return int(cell)
    row.note_fault("bad_value", "life_years", f"is {cell!r}, not whole years from 1 to {MAX_LIFE_YEARS}")
    return None


def _build_role(row: TableRow) -> RoleSpec:
    return RoleSpec(
        code=row.text_of("code"),
        name=row.text_of("name"),
        part=row.word_of("part", ROLE_PARTS),
        hazard=row.text_of("hazard"),
        order=row.whole_number_of("order"),
        last_line=row.is_yes("last_line"),
        kinds=frozenset(row.parts_of("kinds", needed=True)),
    )


def _build_needed_role(row: TableRow) -> NeededRole:
    exposes = row.word_of("exposes", [e.value for e in NeedExposure])
    return NeededRole(
        code=row.text_of("code"),
        name=row.text_of("name"),
        roles=frozenset(row.parts_of("roles", needed=True)),
        kinds=frozenset(row.parts_of("kinds")),
        conditions=tuple(_read_conditions(row)),
        none_allowed=row.is_yes("none_allowed"),
        exposes=NeedExposure(exposes) if exposes in list(NeedExposure) else NeedExposure.NO,
        source=row.text_of("source"),
        carries=frozenset(row.parts_of("carries")),
        values=row.words_of("values", VALUE_NAMES),
    )


def _read_conditions(row: TableRow) -> Iterable[tuple[str, tuple[str, ...]]]:
    """Yield the conditions of a cell such as "fuel=oil_2|input_from=400000"; a wrong one is noted."""
    for part in row.parts_of("when"):
        key, _, words = part.partition("=")
        if key not in NEED_CONDITIONS or not words:
            row.note_fault(
                "bad_value", "when", f"has {part!r}; a condition is KEY=WORD, of {', '.join(NEED_CONDITIONS)}"
            )
        elif key == "input_from" and not words.isdigit():
            row.note_fault("bad_value", "when", f"has {part!r}; input_from takes whole Btu/h")
        elif key in BOILER_CHOICES and not set(words.split("/")) <= set(BOILER_CHOICES[key]):
            # No boiler would ever meet it: the need would never be asked for.
            row.note_fault("bad_value", "when", f"has {part!r}; {key} is one of {', '.join(BOILER_CHOICES[key])}")
        else:
            yield key, tuple(words.split("/"))


def _build_procedures(content: Content) -> dict[str, ProcedureSpec]:
    specs = _by_pair(content.tables["readings.csv"], ("procedure", "name"), _build_reading)
    texts = {section: content.texts.get(section, {}) for section in ("cautions", "steps")}

    def build_procedure(row: TableRow) -> ProcedureSpec:
        code = row.text_of("code")
        readings = {name: spec for (procedure, name), spec in specs.items() if procedure == code}
        steps = texts["steps"].get(code, "")
        return _build_procedure(
            row, readings, texts["cautions"].get(code, ""), tuple(steps.split("\n")) if steps else ()
        )

    return _by_code(content.tables["procedures.csv"], build_procedure)


def _build_procedure(
    row: TableRow, readings: Mapping[str, ReadingSpec], caution: str, steps: tuple[str, ...]
) -> ProcedureSpec:
    proof, interval = row.word_of("proof", PROOFS), row.interval_of("interval")
    if proof != "none" and interval is None and not row.cells.get("interval"):
        # Without an interval a proof would never be due again.
        row.note_fault("empty", "interval", "is needed where the procedure is a proof")
    return ProcedureSpec(
        code=row.text_of("code"),
        name=row.text_of("name"),
        kinds=frozenset(row.parts_of("kinds", needed=True)),
        proof=proof,
        interval=interval,
        anchor=row.word_of("anchor", ("", "season")),
        grace_days=row.whole_number_of("grace_days"),
        who=row.words_of("who", QUALIFICATIONS, needed=True),
        covers=frozenset(row.parts_of("covers")),
        judged_by=row.text_of("judged_by"),
        readings=readings,
        source=row.text_of("source"),
        caution=caution,
        side=row.word_of("side", SIDES),
        steps=steps,
        tools=row.parts_of("tools"),
        parts=row.parts_of("parts"),
        minutes=row.whole_number_of("minutes"),
        # Releases older than this column need one person.
        people=2 if row.word_of("people", ("", "2")) == "2" else 1,
        voids=row.word_of("voids", ("", *TOUCHES)),
        fails_as=row.text_of("fails_as", needed=False),
        # Releases older than this column have one source for the way and the interval.
        interval_source=row.text_of("interval_source", needed=False) or row.cells.get("source", ""),
    )


def _build_variants(rows: Iterable[TableRow]) -> dict[tuple[str, str], Variant]:
    return {
        key: variant
        for key, variant in _by_pair(rows, ("procedure", "variant"), _build_variant).items()
        if variant is not None
    }


def _build_variant(row: TableRow) -> Variant | None:
    interval = row.interval_of("interval")
    if interval is None:
        row.text_of("interval")  # notes the empty cell
        return None
    return Variant(
        procedure=row.text_of("procedure"),
        name=row.text_of("variant"),
        interval=interval,
        anchor=row.word_of("anchor", ("", "season")),
        grace_days=row.whole_number_of("grace_days"),
        due_only=row.is_yes("due_only"),
        source=row.text_of("source"),
    )


def _build_contradiction(row: TableRow) -> Contradiction:
    return Contradiction(
        first=row.text_of("first"),
        second=row.text_of("second"),
        window_minutes=row.whole_number_of("window_minutes"),
        same_place=row.is_yes("same_place"),
        sentence=row.text_of("sentence"),
        source=row.text_of("source"),
        tested_by=frozenset(row.parts_of("tested_by")),
    )


def _build_reading(row: TableRow) -> ReadingSpec:
    kind, choices = row.word_of("type", READING_TYPES), row.parts_of("choices")
    low, high = row.number_of("low"), row.number_of("high")
    if (kind == "choice") != bool(choices):
        row.note_fault("bad_value", "choices", "must stand with type choice, and with no other")
    if kind == "number" and (low is None or high is None or low >= high):
        row.note_fault("bad_value", "low", "must stand below high: together they bound what is physically possible")
    rule, otherwise, finding = (
        read_acceptance(row),
        row.word_of("else", ELSE_OUTCOMES),
        row.text_of("finding", needed=False),
    )
    if bool(row.cells.get("rule")) != bool(otherwise):
        row.note_fault("bad_value", "else", "must stand where a rule stands, and nowhere else")
    if finding and otherwise != "fail":
        row.note_fault("bad_value", "finding", "is fired by a reading that fails, and by no other")
    return ReadingSpec(
        name=row.text_of("name"),
        type=kind,
        unit=row.text_of("unit", needed=False),
        low=low,
        high=high,
        choices=choices,
        required=row.is_yes("required"),
        accept=row.text_of("accept", needed=bool(rule)),
        source=row.text_of("source"),
        rule=rule,
        otherwise=otherwise or "fail",
        finding=finding,
    )


def _build_touches(rows: Iterable[TableRow]) -> dict[tuple[str, str], TouchRule]:
    """Return the touch rules. Of the rows of one kind and touch, one procedure of each row must pass."""
    touches: dict[tuple[str, str], TouchRule] = {}
    for row in rows:
        kind, touch = row.text_of("kind"), row.word_of("touch", (*TOUCHES, "path"))
        before = touches[kind, touch].needs if (kind, touch) in touches else ()
        needs = frozenset(row.parts_of("needs", True))
        if any(needs & group for group in before):
            row.note_fault("duplicate", "needs", f"of '{kind} {touch}' something stands there twice")
        touches[kind, touch] = TouchRule(kind, touch, (*before, needs))
    return touches


def _build_finding(row: TableRow, first_acts: Mapping[str, str]) -> FindingRule:
    code = row.text_of("code")
    return FindingRule(
        code=code,
        level=row.word_of("level", LEVELS),
        fails=row.word_of("fails", FAILURE_KINDS),
        title=row.text_of("title"),
        first_act=first_acts.get(code, ""),
        clears_by=frozenset(row.parts_of("clears_by")),
        source=row.text_of("source"),
        needs_cause=row.is_yes("needs_cause"),
        needs_manager=row.is_yes("needs_manager"),
        needs_work=row.is_yes("needs_work"),
        closes_by_readings=row.is_yes("closes_by_readings"),
        tested_in_place=row.is_yes("tested_in_place"),
        closes_unneeded=row.is_yes("closes_unneeded"),
        recurs=row.is_yes("recurs"),
        blinds_gauge=row.is_yes("blinds_gauge"),
        joins=row.word_of("joins", JOINS),
    )


def _build_action(row: TableRow) -> Action:
    touch, repairs = row.word_of("touch", ("", *TOUCHES)), row.is_yes("repairs")
    return Action(row.text_of("code"), row.text_of("name"), touch=touch, repairs=repairs, source=row.text_of("source"))


def _build_observation(row: TableRow) -> Observation:
    finding, roles = row.text_of("finding", needed=False), frozenset(row.parts_of("roles"))
    return Observation(
        row.text_of("code"), row.text_of("name"), finding=finding, roles=roles, source=row.text_of("source")
    )
