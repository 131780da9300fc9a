"""Parsing machine rules of readings: `is yes`, `>= 3`, `in runs|prompt`, `<= @key`, `within 2 @key`."""

from fleet.catalog.rows import Row
from fleet.rules.catalogue import Acceptance

COMPARED = ("<=", ">=", "<", ">")


def acceptance(row: Row) -> Acceptance | None:
    """Return the rule of one reading, None where it has none. A rule that can't be read, or can't fail, is noted."""
    text = row.text("rule", needed=False)
    if not text:
        return None
    op, *rest = text.split()
    made = _read(op, rest, row.cells.get("type", ""))
    if made is None:
        row.fault("bad_value", "rule", f"is {text!r}, which says nothing about a reading of this type")
    elif not _can_fail(made, row):
        row.fault("bad_value", "rule", f"is {text!r}, which every possible reading keeps or none does")
    return made


def _read(op: str, rest: list[str], kind: str) -> Acceptance | None:
    if kind == "bool" and op == "is" and rest in (["yes"], ["no"]):
        return Acceptance("is", words=tuple(rest))
    if kind == "choice" and op == "in" and len(rest) == 1:
        return Acceptance("in", words=tuple(rest[0].split("|")))
    if kind != "number":
        return None
    if op in COMPARED and len(rest) == 1:
        return Acceptance(op, key=rest[0][1:]) if _is_key(rest[0]) else _numbered(op, rest[0], "")
    return _numbered(op, rest[0], rest[1][1:]) if op == "within" and len(rest) == 2 and _is_key(rest[1]) else None


def _is_key(word: str) -> bool:
    return word.startswith("@") and len(word) > 1


def _numbered(op: str, word: str, key: str) -> Acceptance | None:
    try:
        number = float(word)
    except ValueError:
        return None
    return Acceptance(op, number, key) if abs(number) < float("inf") else None


def _can_fail(made: Acceptance, row: Row) -> bool:
    """Whether a rule can both fail and pass for possible readings; any other rule is a fault of the table."""
    if made.op == "in":
        choices = set(row.listed("choices"))
        return set(made.words) < choices
    if made.op == "within":
        return made.number is not None and made.number > 0
    low, high = row.number("low"), row.number("high")
    if made.number is None or low is None or high is None:
        return True
    return low <= made.number < high if made.op in ("<=", ">") else low < made.number <= high
