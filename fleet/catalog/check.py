"""Checks between the tables: every reference must point at a row, every rule that code fires must have a row."""

from collections.abc import Collection, Iterable, Iterator

from fleet.catalog.citations import SourceStanding, read_citations
from fleet.catalog.content import Content
from fleet.catalog.rows import Faults, TableRow
from fleet.catalog.texts import TEXTS_FILE as TEXTS
from fleet.rules.catalogue import Catalogue
from fleet.rules.findings import JOINED_FINDINGS, OBSERVED, FindingCode
from fleet.rules.verdicts import FIRES, GRADERS, READS_RULES, findings_fired_by

LIFE_COLUMNS = ("life_years", "life_source")


def check_catalogue(content: Content, catalogue: Catalogue, faults: Faults, *, is_stored: bool = False) -> None:
    """Note every reference without a row, and every row that the rules need and that is missing.

    A stored release was whole when it was loaded: it may lack what the rules learned of since (`is_stored`).
    """
    for file, column, codes in _reference_columns(catalogue):
        for row in content.tables[file]:
            _check_reference(row, column, codes)
    _check_graders(content.tables["procedures.csv"])
    _check_rules(content.tables["readings.csv"], catalogue)
    _check_finding_columns(content.tables["findings.csv"], catalogue)
    _check_needed_kinds(content.tables["needed_roles.csv"], catalogue)
    if not is_stored:
        _check_contradictions(content.tables["contradictions.csv"], catalogue)
        _check_sources(content, catalogue)
        _check_used_rules(catalogue, faults)
    _check_texts(content, catalogue, faults)


def _reference_columns(catalogue: Catalogue) -> Iterator[tuple[str, str, Collection[str]]]:
    yield "roles.csv", "hazard", catalogue.hazards
    yield "roles.csv", "kinds", catalogue.kinds
    yield "needed_roles.csv", "roles", catalogue.roles
    yield "needed_roles.csv", "kinds", catalogue.kinds
    yield "needed_roles.csv", "carries", catalogue.roles
    yield "procedures.csv", "kinds", catalogue.kinds
    yield "procedures.csv", "covers", catalogue.procedures
    yield "procedures.csv", "fails_as", catalogue.findings
    yield "variants.csv", "procedure", catalogue.procedures
    yield "readings.csv", "procedure", catalogue.procedures
    yield "readings.csv", "finding", catalogue.findings
    yield "touches.csv", "kind", catalogue.kinds
    yield "touches.csv", "needs", catalogue.procedures
    yield "contradictions.csv", "tested_by", catalogue.procedures
    yield "findings.csv", "clears_by", catalogue.procedures
    yield "observations.csv", "finding", catalogue.findings
    yield "observations.csv", "roles", catalogue.roles


def _check_reference(row: TableRow, column: str, codes: Collection[str]) -> None:
    for code in row.cells.get(column, "").split("|"):
        if code and code not in codes:
            row.note_fault("unknown_reference", column, f"names {code!r}, which no table has")


def _check_needed_kinds(rows: Iterable[TableRow], catalogue: Catalogue) -> None:
    """Note a need that depends on a kind which no table has: it would ask nothing of any boiler."""
    needs = {need.code: need for need in catalogue.needed_roles}
    for row in rows:
        need = needs.get(row.cells.get("code", ""))
        for kind in sorted(kind for key, kinds in need.conditions if key == "fitted" for kind in kinds) if need else ():
            if kind not in catalogue.kinds:
                row.note_fault("unknown_reference", "when", f"names {kind!r}, which no table has")


def _check_graders(rows: Collection[TableRow]) -> None:
    for row in rows:
        grader = row.cells.get("judged_by", "")
        if grader and grader not in GRADERS:
            row.note_fault("unknown_grader", "judged_by", f"names {grader!r}, which nothing judges by")


def _check_rules(rows: Iterable[TableRow], catalogue: Catalogue) -> None:
    """Note rules that their grader does not read, and rules that compare with an attribute some kind lacks."""
    for row in rows:
        procedure = catalogue.procedures.get(row.cells.get("procedure", ""))
        spec = procedure.readings.get(row.cells.get("name", "")) if procedure else None
        if procedure is None or spec is None or spec.rule is None:
            continue
        if procedure.judged_by not in READS_RULES:
            row.note_fault("unused_rule", "rule", f"is read by nobody: {procedure.judged_by!r} judges by itself")
        kinds = [catalogue.kinds[k] for k in procedure.kinds if k in catalogue.kinds]
        for kind in sorted(k.code for k in kinds if spec.rule.key and spec.rule.key not in k.attributes):
            row.note_fault("unknown_reference", "rule", f"compares with {spec.rule.key!r}, which {kind!r} has not")


def _check_contradictions(rows: Iterable[TableRow], catalogue: Catalogue) -> None:
    """Note sides that are neither an observation nor a procedure's outcome, and pairs that no procedure tests."""
    pairs = {(c.first, c.second): c for c in catalogue.contradictions}
    for row in rows:
        for column in ("first", "second"):
            code, colon, outcome = row.cells.get(column, "").partition(":")
            allowed_codes = catalogue.procedures if colon else catalogue.observations
            if code not in allowed_codes or (colon and outcome not in ("pass", "fail")):
                row.note_fault("unknown_reference", column, f"names {row.cells.get(column)!r}, which nobody can enter")
        if not catalogue.tests_of(pairs[row.cells.get("first", ""), row.cells.get("second", "")]):
            row.note_fault("empty", "tested_by", "names no test of a suspect: the hold could never be closed")


def _check_finding_columns(rows: Iterable[TableRow], catalogue: Catalogue) -> None:
    """A cell that could decide nothing is a mistake: what it says would be believed and never asked."""
    for row in rows:
        rule = catalogue.findings.get(row.cells.get("code", ""))
        if rule is None:
            continue
        if rule.closes_by_readings:
            for column in ("needs_cause", "needs_manager", "needs_work", "tested_in_place"):
                if getattr(rule, column):
                    row.note_fault("bad_value", column, "can't be asked of what closes by its own readings")
        if rule.closes_unneeded and not rule.clears_by:
            row.note_fault("bad_value", "closes_unneeded", "says nothing where no test is named: it closes by itself")
        if rule.recurs and rule.fails == "presumed":
            row.note_fault("bad_value", "recurs", "says nothing of a presumption: it is never a repeat")
        if rule.joins and rule.code in JOINED_FINDINGS:
            row.note_fault("bad_value", "joins", "can't stand on what the two are together")


def _check_used_rules(catalogue: Catalogue, faults: Faults) -> None:
    """Note rules that the code fires and that have no row: a failed test would have no class and no first act."""
    fired = {rule for rules in FIRES.values() for rule in rules} | set(FindingCode)
    for code in sorted(fired.union(*(findings_fired_by(p) for p in catalogue.procedures.values()))):
        if code not in catalogue.findings:
            message = f"finding {code!r} is used by the rules and has no row"
            faults.note_fault("missing_rule", message, file="findings.csv", line=1, column="code")
    for code in sorted(OBSERVED - catalogue.observations.keys()):
        message = f"observation {code!r} is used by the rules and has no row"
        faults.note_fault("missing_rule", message, file="observations.csv", line=1, column="code")


def _check_sources(content: Content, catalogue: Catalogue) -> None:
    """Note every source that leads nowhere: an unknown number, or words that name no document, practice or clause."""
    for rows in content.tables.values():
        for row in rows:
            for column in ("source", "interval_source", "life_source"):
                for citation in read_citations(row.cells.get(column, ""), catalogue.sources):
                    if citation.standing is SourceStanding.UNRESOLVED:
                        row.note_fault("unknown_source", column, f"says {citation.text!r}, which leads to no source")
    for file, number, source in (("procedures.csv", "interval", "interval_source"), ("kinds.csv", *LIFE_COLUMNS)):
        for row in content.tables[file]:
            if bool(row.cells.get(number)) != bool(row.cells.get(source)):
                words = number.replace("_", " ")
                row.note_fault("bad_value", source, f"must stand where its number stands ({words}), and nowhere else")


def _check_texts(content: Content, catalogue: Catalogue, faults: Faults) -> None:
    belongs = {"first_acts": catalogue.findings, "cautions": catalogue.procedures, "steps": catalogue.procedures}
    for section, codes in belongs.items():
        for code in content.texts.get(section, {}):
            if code not in codes:
                line = content.lines.get((section, code), 1)
                faults.note_fault(
                    "unknown_text",
                    f"{section} has {code!r}, which belongs to nothing",
                    file=TEXTS,
                    line=line,
                    column=section,
                )
    needed = (("findings.csv", "first_acts"), ("procedures.csv", "cautions"), ("procedures.csv", "steps"))
    for file, section in needed:
        for row in content.tables[file]:
            code = row.cells.get("code", "")
            if code and code not in content.texts.get(section, {}):
                row.note_fault("missing_text", "code", f"{code!r} has no {section.replace('_', ' ')} in {TEXTS}")
