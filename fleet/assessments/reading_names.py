"""Names of readings in words."""

UNIT_SUFFIXES = ("_psi", "_in", "_minutes", "_f", "_pct", "_s", "_ppm", "_lb_h", "_btu_h")


def reading_name(code: str) -> str:
    """Return a reading's name without its unit, which is shown after the value: "trip" for `trip_psi`."""
    unit = next((u for u in UNIT_SUFFIXES if code.endswith(u)), "")
    return " ".join("pressure" if w == "psi" else w for w in code.removesuffix(unit).split("_"))
