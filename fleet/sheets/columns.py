"""The columns of a register sheet: which exist, what each may hold, and what it means."""

import re
from collections.abc import Mapping
from datetime import date
from decimal import Decimal

from fleet.portfolio import access
from fleet.rules.catalogue import Catalogue
from fleet.rules.vocabulary import BOILER_CHOICES

REQUIRED = (
    "building_ref",
    "address",
    "zone",
    "boiler_ref",
    "boiler_name",
    "since",
    "position_ref",
    "position_name",
    "role",
    "kind",
    "fitted_on",
)
# Columns with a choice of words. Those of the boiler as a whole are dated settings.
CHOICES = {**BOILER_CHOICES, "heats": ("yes", "no"), "needed": ("yes", "no")}
ON_BOILER = (
    "output_btu_h",
    "lowest_safe_line_in",
    "normal_line_in",
    "water_surface_ft2",
    "heating_surface_ft2",
    "fuel",
    "construction",
    "firing",
    "draft",
    "cutoffs_needed",
    "heats",
    "cutoffs_rule",
)
NOT_NEEDED_BECAUSE = "not_needed_because"
ON_POSITION = ("position_ref", "position_name", "role", "hangs_on", "needed", NOT_NEEDED_BECAUSE, "kind", "fitted_on")
COORDINATES = ("latitude_deg", "longitude_deg")
OPTIONAL = (
    "portfolio_ref",
    "units",
    "access_hours",
    *COORDINATES,
    "hangs_on",
    "needed",
    NOT_NEEDED_BECAUSE,
    *ON_BOILER,
)
OF_BUILDING = ("portfolio_ref", "address", "zone", "units", "access_hours", *COORDINATES)
OF_BOILER = ("boiler_name", "since", *ON_BOILER)
MAX_LENGTHS = {
    "address": 200,
    "access_hours": access.MAX_TEXT_LENGTH,
    "boiler_name": 200,
    "position_name": 200,
    "cutoffs_rule": 200,
    NOT_NEEDED_BECAUSE: 200,
    "hangs_on": 2000,
}
DEFAULT_MAX_LENGTH = 64  # characters, of all other columns
DAY_COLUMNS = ("since", "fitted_on", "end_of_life")
YES_NO_COLUMNS = ("heats", "needed")
DECLARED_PREFIX = (
    "declared:"  # followed by a procedure's code: the day on which somebody says it was done; never a proof
)
POSSIBLE_YEARS = range(1850, 2100)
# By the end of the name, longest first: the possible values on a boiler of 15 psig or less (common practice).
RANGES_BY_UNIT = {
    "_btu_h": (0.0, 1e9),
    "_lb_h": (0.0, 25_000.0),  # what the largest valve passes at 15 psi (S7, S15, S16)
    "_psi": (0.0, 300.0),
    "_ft2": (0.0, 1e5),
    "_gal": (9.0, 1e12),
    "_in": (-5.0, 500.0),
    "_s": (0.0, 3600.0),
    "_f": (0.0, 1500.0),
    "_smoke": (0.0, 9.0),
    "longitude_deg": (-180.0, 180.0),
    "latitude_deg": (-90.0, 90.0),
    "units": (0.0, 1e5),
}
_UNIT_ENDINGS = tuple(RANGES_BY_UNIT)
_NUMBER = re.compile(r"-?\d{1,15}(\.\d{1,25})?", re.ASCII)
_DATE = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
# What neither the database nor XML 1.0 can hold: control characters, lone surrogates, noncharacters.
UNSTORABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufffe\uffff]")

CellValue = float | str | bool


def is_measured(column: str) -> bool:
    """Whether a column or value holds a number: its name ends with the unit."""
    return column.endswith(_UNIT_ENDINGS)


def is_possible(name: str, value: float) -> bool:
    """Whether a number is physically possible, by the unit at the end of `name`. The rules judge if it is right."""
    low, high = next(bounds for unit, bounds in RANGES_BY_UNIT.items() if name.endswith(unit))
    return low <= value <= high  # false for NaN


def is_day(column: str) -> bool:
    """Whether a column holds a day."""
    return column in DAY_COLUMNS or column.startswith(DECLARED_PREFIX)


def max_length(column: str) -> int:
    """Return how many characters a cell of this column may have."""
    return MAX_LENGTHS.get(column, DEFAULT_MAX_LENGTH)


def known_columns(catalogue: Catalogue) -> frozenset[str]:
    """Return every column a sheet may have, except the columns of declared days."""
    return frozenset({*REQUIRED, *OPTIONAL, *(a for k in catalogue.kinds.values() for a in k.attributes)})


def declarable_procedures(catalogue: Catalogue) -> tuple[str, ...]:
    """Return the codes of procedures that can be declared: those with an interval or that prove something."""
    return tuple(code for code, p in catalogue.procedures.items() if p.interval is not None or p.proof != "none")


def is_column(name: str, catalogue: Catalogue) -> bool:
    """Whether a sheet may have this column."""
    if name.startswith(DECLARED_PREFIX):
        return name.removeprefix(DECLARED_PREFIX) in declarable_procedures(catalogue)
    return name in known_columns(catalogue)


def as_day(text: str) -> date | None:
    """Return a day written like 2019-10-01 within POSSIBLE_YEARS; None for any other text."""
    try:
        day = date.fromisoformat(text) if _DATE.fullmatch(text) else None
    except ValueError:
        return None
    return day if day and day.year in POSSIBLE_YEARS else None


def as_number(text: str) -> float | None:
    """Return a plain decimal number; None for any other text, also for what `float` would take (1_000, nan, ١٢)."""
    return float(text) if _NUMBER.fullmatch(text) else None


def as_value(column: str, text: str) -> CellValue:
    """Return the value of a cell that has no fault."""
    if column in YES_NO_COLUMNS:
        return text == "yes"
    return float(text) if is_measured(column) or column == "cutoffs_needed" else text


def as_text(value: object) -> str:
    """Return the text of a value in a cell; reading it back gives the same value."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float)):
        return format(Decimal(repr(value)).normalize() + 0, "f")
    return "" if value is None else str(value)


# What each column is for, as shown beside an empty sheet.
EXPLANATIONS: Mapping[str, str] = {
    "portfolio_ref": "Optional: the portfolio's short name. If given, it must be this portfolio's.",
    "building_ref": "The building's own short name. It identifies the building and never changes.",
    "address": "Its address as people say it. May be edited.",
    "zone": "Its IANA time zone, such as America/New_York. Fixed once the building is there.",
    "units": "Optional: how many dwelling units.",
    "access_hours": (
        "Optional: when people can get in, such as mon-fri 08:00-17:00; sat 09:00-12:00. Empty means at any time."
    ),
    "latitude_deg": (
        "Optional: where it stands, degrees north (WGS 84), such as 40.5212. With longitude_deg, the travel between "
        "buildings can be reckoned."
    ),
    "longitude_deg": "Optional: degrees east (WGS 84); west is negative, such as -74.0341.",
    "boiler_ref": "The boiler's short name within its building. It never changes.",
    "boiler_name": "What people call it. May be edited.",
    "since": "The day from which it is on record, such as 2019-10-01. Fixed once the boiler is there.",
    "output_btu_h": "Optional: the boiler's gross output in Btu/h.",
    "lowest_safe_line_in": "Optional: the lowest safe water line, in inches on the glass.",
    "normal_line_in": "Optional: the normal water line, in inches on the glass.",
    "water_surface_ft2": "Optional: the free water surface at the line, in square feet.",
    "heating_surface_ft2": "Optional: the heating surface, in square feet.",
    "fuel": "Optional: natural_gas, oil_2 or propane.",
    "construction": "Optional: cast_iron, firetube or watertube.",
    "firing": "Optional: hand, stoker or oil_gas.",
    "draft": "Optional: natural, forced or induced. Until it is on record, the boiler is never clear.",
    "cutoffs_needed": "Optional: 1 or 2 low-water cutoffs. 1 only with cutoffs_rule.",
    "cutoffs_rule": "The rule by which one cutoff is enough, its date and who decided.",
    "heats": "Optional: no for a boiler that only makes hot water.",
    "position_ref": (
        "The place's short name on this boiler. It never changes. "
        "If it and all that follows are empty, the row has no place."
    ),
    "position_name": "What people call the place. May be edited.",
    "role": "What the place is for, a code of the catalogue. Fixed once the place is there.",
    "hangs_on": "Optional: the position_ref of each path that carries its signal, separated by |.",
    "needed": (
        "Optional: no where this boiler has none here and needs none. Only for what the catalogue lets a boiler be "
        "without, or for a spare place, and with not_needed_because."
    ),
    NOT_NEEDED_BECAUSE: "Why the place need not be filled, who decided, and when.",
    "kind": "What is fitted there, a code of the catalogue. Empty means nothing.",
    "fitted_on": "The day it was fitted. A later day means another device.",
}


def explain_column(column: str) -> str:
    """Return a sentence that says what a column is for."""
    if column.startswith(DECLARED_PREFIX):
        return "Optional: the day this procedure is said to have been done here. It never counts as a proof."
    return EXPLANATIONS.get(column, "Optional: what is stamped on the device or set on it.")
