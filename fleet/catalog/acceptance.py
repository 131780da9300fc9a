"""Parsing machine rules of readings: `is yes`, `>= 3`, `in runs|prompt`, `<= @key`, `within 2 @key`."""

from fleet.catalog.rows import TableRow
from fleet.rules.catalogue import Acceptance

COMPARISONS = ("<=", ">=", "<", ">")


def read_acceptance(row: TableRow) -> Acceptance | None:
    """Return the rule of one reading, None where it has none. A rule that can't be read, or can't fail, is noted."""
    text = row.text_of("rule", needed=False)
    if not text:
        return None
    op, *rest = text.split()
    rule = _parse_rule(op, rest, row.cells.get("type", ""))
    if rule is None:
        row.note_fault("bad_value", "rule", f"is {text!r}, which says nothing about a reading of this type")
    elif not _can_fail(rule, row):
        row.note_fault("bad_value", "rule", f"is {text!r}, which every possible reading keeps or none does")
    return rule


def _parse_rule(op: str, rest: list[str], kind: str) -> Acceptance | None:
    if kind == "bool" and op == "is" and rest in (["yes"], ["no"]):
        return Acceptance("is", words=tuple(rest))
    if kind == "choice" and op == "in" and len(rest) == 1:
        return Acceptance("in", words=tuple(rest[0].split("|")))
    if kind != "number":
        return None
    if op in COMPARISONS and len(rest) == 1:
        return Acceptance(op, key=rest[0][1:]) if _is_key(rest[0]) else _numbered_rule(op, rest[0], "")
    return _numbered_rule(op, rest[0], rest[1][1:]) if op == "within" and len(rest) == 2 and _is_key(rest[1]) else None


def _is_key(word: str) -> bool:
    return word.startswith("@") and len(word) > 1


def _numbered_rule(op: str, word: str, key: str) -> Acceptance | None:
    try:
        number = float(word)
    except ValueError:
        return None
    return Acceptance(op, number, key) if abs(number) < float("inf") else None


def _can_fail(rule: Acceptance, row: TableRow) -> bool:
    """Whether a rule can both fail and pass for possible readings; any other rule is a fault of the table."""
    if rule.op == "in":
        choices = set(row.parts_of("choices"))
        return set(rule.words) < choices
    if rule.op == "within":
        return rule.number is not None and rule.number > 0
    low, high = row.number_of("low"), row.number_of("high")
    if rule.number is None or low is None or high is None:
        return True
    return low <= rule.number < high if rule.op in ("<=", ">") else low < rule.number <= high
