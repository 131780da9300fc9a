"""Relief capacity: what the valves' stamps give against what the boiler can make.

Source: HG-400.1(d) as quoted in S2: lb/h >= output at the nozzle in Btu/h / 1000; the older greater-of rule with the
heating-surface table in S7, S10, S11. In service the stamp counts, never a formula.
"""

from collections.abc import Sequence
from dataclasses import dataclass

BTU_H_PER_LB_H = 1000.0  # not to be "corrected" to the heat of evaporation: the 5 psi accumulation rule covers that
SURFACE_LB_H_FT2 = {  # S7; New York agrees on firetube and watertube (S4)
    ("hand", "firetube"): 5.0,
    ("hand", "watertube"): 6.0,
    ("stoker", "firetube"): 7.0,
    ("stoker", "watertube"): 8.0,
    ("oil_gas", "firetube"): 8.0,
    ("oil_gas", "watertube"): 10.0,
}


@dataclass(frozen=True, slots=True)
class Relief:
    """Required and installed capacity in lb/h; `installed_lb_h` None where a stamp is unknown."""

    required_lb_h: float
    installed_lb_h: float | None

    @property
    def adequate(self) -> bool | None:
        """Whether installed covers required (equal passes); None where a stamp is unknown: unknown is not adequate."""
        return None if self.installed_lb_h is None else self.installed_lb_h >= self.required_lb_h


def required_lb_h(
    output_btu_h: float, surface_ft2: float = 0.0, firing: str = "oil_gas", kind: str = "firetube"
) -> float:
    """Return the required capacity in lb/h for an output in Btu/h (> 0), by the greater-of rule if a surface is given.

    ValueError for an output that cannot be, or an unknown firing or kind.
    """
    if not output_btu_h > 0 or surface_ft2 < 0:
        raise ValueError(f"no such boiler: {output_btu_h} Btu/h, {surface_ft2} ft2")
    if (firing, kind) not in SURFACE_LB_H_FT2:
        raise ValueError(f"no row for {firing!r}, {kind!r}")
    return max(output_btu_h / BTU_H_PER_LB_H, surface_ft2 * SURFACE_LB_H_FT2[firing, kind])


def relief(output_btu_h: float, stamped_lb_h: Sequence[float | None], surface_ft2: float = 0.0) -> Relief:
    """Compare the stamps of all valves together with what the output needs; one unknown stamp makes the sum unknown."""
    known = [s for s in stamped_lb_h if s is not None]
    installed = sum(known) if len(known) == len(stamped_lb_h) else None
    return Relief(required_lb_h(output_btu_h, surface_ft2), installed)
