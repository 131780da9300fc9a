"""The sentences that describe changes of the register, in the import's report and in the change log."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from fleet.sheets.columns import as_text

MAX_LOG_VALUE_LENGTH = 32  # characters of `before` and `after` in the log; the sentence has them in full
KEY_NAMES = {
    "paths": "What it hangs on",
    "needed": "Needed",
    "not_needed_because": "Why it is not needed",
    "units": "Dwelling units",
    "access_hours": "Access hours",
    "latitude_deg": "Degrees north",
    "longitude_deg": "Degrees east",
    "heats": "Heats",
    "cutoffs_needed": "Cutoffs needed",
    "cutoffs_rule": "Rule for one cutoff",
}
UNITS_BY_ENDING = {
    "_btu_h": "Btu/h",
    "_lb_h": "lb/h",
    "_psi": "psi",
    "_ft2": "ft²",
    "_gal": "gal",
    "_in": "in",
    "_s": "s",
}


def shorten_for_log(text: str) -> str:
    """Return as much of a text as the log's columns hold."""
    return text if len(text) <= MAX_LOG_VALUE_LENGTH else text[: MAX_LOG_VALUE_LENGTH - 1] + "…"


def unit_of(key: str) -> str:
    """Return the unit that a key's name ends with, "" where it has none."""
    return next((unit for ending, unit in UNITS_BY_ENDING.items() if key.endswith(ending)), "")


def key_in_words(key: str) -> str:
    """Return a key in words, without its unit: "Output", "Set pressure"."""
    ending = next((e for e in UNITS_BY_ENDING if key.endswith(e)), "")
    words = key.removesuffix(ending).replace("_", " ").capitalize()
    return KEY_NAMES.get(key) or (f"{words} pressure" if ending == "_psi" else words)


def value_in_words(key: str, value: Any, names: Mapping[str, str] | None = None) -> str:
    """Return a value in words, with its unit; paths by their names."""
    if value is None or value == []:
        return "nothing"
    if isinstance(value, (list, tuple)):
        return ", ".join((names or {}).get(str(v), str(v)) for v in value)
    if isinstance(value, str):
        return value.replace("_", " ")
    return f"{_group_thousands(value)} {unit_of(key)}".strip()


def _group_thousands(value: object) -> str:
    """Return a number with a comma between its thousands, yes or no as words."""
    text = as_text(value)
    whole, point, rest = text.partition(".")
    return f"{int(whole):,}{point}{rest}" if whole.isdecimal() and len(whole) > 4 else text


def day_in_words(day: date) -> str:
    """Return a day with its weekday."""
    return f"{day:%a %d %b %Y}"


def begin_with_name(name: str, rest: str) -> str:
    """Return a sentence that begins with a name, its first letter capital."""
    return f"{name[:1].upper()}{name[1:]} {rest}"


def renamed_sentence(before: str, after: str) -> str:
    """Return the sentence of an edited name."""
    return f"“{before}” is now called “{after}”."


def units_sentence(address: str, before: int, after: int) -> str:
    """Return the sentence of a changed number of dwelling units."""
    return f"{address} has {after} dwelling units, not {before}."


def access_hours_sentence(address: str, after: str) -> str:
    """Return the sentence of changed access hours."""
    return f"{address} can now be entered {after or 'at any time'}."


def coordinate_sentence(address: str, column: str, degrees: float) -> str:
    """Return the sentence of a changed coordinate, in degrees north or east."""
    return f"{address} stands at {as_text(degrees)} {key_in_words(column).lower()}."


def fitted_sentence(kind: str, name: str, day: str) -> str:
    """Return the sentence of a fitted device."""
    return f"{kind} fitted at {name} on {day}."


def setting_sentence(key: str, before: str, after: str, since: str) -> str:
    """Return the sentence of a dated value; `since` is in words."""
    change_text = f"{before} → {after}" if before else after
    return f"{key_in_words(key)}: {change_text} {since}."


def declared_sentence(procedure: str, name: str, day: str) -> str:
    """Return the sentence of a declared day."""
    return f"{procedure} of {name} declared for {day}. This is not a proof."
