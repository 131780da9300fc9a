"""What must hold between the tables: every reference points at a row, every rule the code fires has its row."""

from collections.abc import Collection, Iterator

from fleet.catalog.content import Content
from fleet.catalog.rows import Faults, Row
from fleet.catalog.texts import FILE as TEXTS
from fleet.rules.catalogue import Catalogue
from fleet.rules.findings import OBSERVED, RAISED
from fleet.rules.verdicts import FIRES, GRADERS


def check(content: Content, catalogue: Catalogue, faults: Faults) -> None:
    """Note every reference that points at nothing, and every row that the rules need and do not find."""
    for file, column, known in _references(catalogue):
        for row in content.tables[file]:
            _refer(row, column, known)
    _graders(content.tables["procedures.csv"])
    _used(catalogue, faults)
    _texts(content, catalogue, faults)


def _references(catalogue: Catalogue) -> Iterator[tuple[str, str, Collection[str]]]:
    yield "roles.csv", "hazard", catalogue.hazards
    yield "roles.csv", "kinds", catalogue.kinds
    yield "procedures.csv", "kinds", catalogue.kinds
    yield "procedures.csv", "covers", catalogue.procedures
    yield "readings.csv", "procedure", catalogue.procedures
    yield "touches.csv", "kind", catalogue.kinds
    yield "touches.csv", "needs", catalogue.procedures
    yield "findings.csv", "clears_by", catalogue.procedures
    yield "observations.csv", "finding", catalogue.findings
    yield "observations.csv", "roles", catalogue.roles


def _refer(row: Row, column: str, known: Collection[str]) -> None:
    for code in row.cells.get(column, "").split("|"):
        if code and code not in known:
            row.fault("unknown_reference", column, f"names {code!r}, which no table has")


def _graders(rows: Collection[Row]) -> None:
    for row in rows:
        grader = row.cells.get("judged_by", "")
        if grader and grader not in GRADERS:
            row.fault("unknown_grader", "judged_by", f"names {grader!r}, which nothing judges by")


def _used(catalogue: Catalogue, faults: Faults) -> None:
    """The code fires these rules by name: without its row a failed test would have no class and no first act."""
    for code in sorted({rule for rules in FIRES.values() for rule in rules} | RAISED):
        if code not in catalogue.findings:
            message = f"finding {code!r} is used by the rules and has no row"
            faults.note("missing_rule", message, "findings.csv", 1, "code")
    for code in sorted(OBSERVED - catalogue.observations.keys()):
        message = f"observation {code!r} is used by the rules and has no row"
        faults.note("missing_rule", message, "observations.csv", 1, "code")


def _texts(content: Content, catalogue: Catalogue, faults: Faults) -> None:
    for section, known in (("first_acts", catalogue.findings), ("cautions", catalogue.procedures)):
        for code in content.texts.get(section, {}):
            if code not in known:
                line = content.lines.get((section, code), 1)
                faults.note("unknown_text", f"{section} has {code!r}, which belongs to nothing", TEXTS, line, section)
    for row in content.tables["findings.csv"]:
        code = row.cells.get("code", "")
        if code and code not in content.texts.get("first_acts", {}):
            row.fault("missing_text", "code", f"{code!r} has no first act in {TEXTS}")
