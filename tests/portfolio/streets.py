"""A register of any size: streets of buildings with one or two boilers, fourteen places each."""

import csv
import io
from collections.abc import Iterator

COLUMNS = (
    "building_ref",
    "address",
    "zone",
    "units",
    "access_hours",
    "boiler_ref",
    "boiler_name",
    "since",
    "output_btu_h",
    "lowest_safe_line_in",
    "fuel",
    "construction",
    "position_ref",
    "position_name",
    "role",
    "hangs_on",
    "kind",
    "fitted_on",
    "set_psi",
    "cut_out_psi",
    "differential_psi",
    "capacity_lb_h",
    "trip_in",
    "input_btu_h",
    "declared:slow_drain",
    "declared:lever_lift",
)
# ref, name, role, paths, kind, what is stamped or declared
PLACES: tuple[tuple[str, str, str, str, str, dict[str, str]], ...] = (
    ("chamber", "float chamber", "float_chamber", "", "float_chamber", {}),
    (
        "upper",
        "upper cutoff",
        "upper_cutoff",
        "chamber",
        "float_cutoff",
        {"trip_in": "2.5", "declared:slow_drain": "2025-09-20"},
    ),
    ("lower", "lower cutoff", "lower_cutoff", "", "probe_cutoff", {"trip_in": "1"}),
    ("feeder", "feeder", "feeder", "", "feeder", {}),
    ("glass", "gauge glass", "gauge_glass", "", "gauge_glass", {}),
    ("siphon-1", "lower siphon", "siphon", "", "siphon", {}),
    ("siphon-2", "upper siphon", "siphon", "", "siphon", {}),
    (
        "control",
        "operating control",
        "operating_control",
        "siphon-1",
        "operating_control",
        {"cut_out_psi": "2", "differential_psi": "1"},
    ),
    ("limit", "high limit", "high_limit", "siphon-2", "limit_control", {"set_psi": "8"}),
    (
        "valve",
        "safety valve",
        "safety_valve",
        "",
        "safety_valve",
        {"set_psi": "15", "capacity_lb_h": "1500", "declared:lever_lift": "2025-10-05"},
    ),
    ("gauge", "gauge", "gauge", "siphon-1", "gauge", {}),
    ("flame", "flame safeguard", "flame_safeguard", "", "flame_safeguard", {}),
    ("burner", "burner", "burner", "", "burner", {"input_btu_h": "1375000"}),
    ("meter", "make-up meter", "makeup_meter", "", "makeup_meter", {}),
)


def rows(buildings: int, first: int = 0) -> Iterator[dict[str, str]]:
    """The rows of so many buildings, every second with two boilers."""
    for number in range(first, first + buildings):
        for boiler in range(1, 2 + number % 2):
            for ref, name, role, paths, kind, stamped in PLACES:
                yield {
                    "building_ref": f"H{number:05}",
                    "address": f"{number % 400 + 1} {'ABCDEFGHIJKLM'[number // 400 % 13]} Street",
                    "zone": ("America/New_York", "America/Chicago")[number % 2],
                    "units": str(8 + number % 90),
                    "access_hours": "mon-fri 08:00-17:00",
                    "boiler_ref": f"B{boiler}",
                    "boiler_name": f"Boiler {boiler}",
                    "since": "2019-10-01",
                    "output_btu_h": str(900_000 + 1000 * (number % 200)),
                    "lowest_safe_line_in": "1",
                    "fuel": ("natural_gas", "oil_2")[number % 2],
                    "construction": "cast_iron",
                    "position_ref": ref,
                    "position_name": name,
                    "role": role,
                    "hangs_on": paths,
                    "kind": kind,
                    "fitted_on": f"2019-{10 + number % 3}-01",
                    **stamped,
                }


def as_csv(buildings: int, first: int = 0) -> bytes:
    """They as a CSV file."""
    written = io.StringIO(newline="")
    made = csv.DictWriter(written, COLUMNS, restval="")
    made.writeheader()
    made.writerows(rows(buildings, first))
    return written.getvalue().encode()


def as_table(buildings: int, first: int = 0) -> Iterator[list[str]]:
    """They as rows of cells, the names of the columns first."""
    yield list(COLUMNS)
    for row in rows(buildings, first):
        yield [row.get(column, "") for column in COLUMNS]
