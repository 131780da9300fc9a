"""What the safety valves must carry, by the rule the portfolio adopted, from what the register says of the boiler."""

from collections.abc import Mapping, Sequence

from fleet.engineering.relief import SURFACE_LB_H_FT2, ReliefCapacity, required_lb_h, sum_stamps
from fleet.rules.values import AdoptedTerms, Value, as_number

GREATER_OF_RULE = "greater_of"
# Of output over input. Common practice: a boiler in service turns more of its fuel into steam, so one number is wrong.
LEAST_EFFICIENCY = 0.6
CAST_IRON = "cast_iron"  # goes by its output whatever its surface (S11)


def compare_capacity(
    boiler: Mapping[str, Value], terms: AdoptedTerms, stamps: Sequence[float | None]
) -> ReliefCapacity | None:
    """Compare the stamps of all valves together with what this boiler needs, in lb/h. None if the need is not known.

    `boiler`: `output_btu_h`, and for the greater-of rule `heating_surface_ft2`, `firing` and `construction`.
    """
    output = as_number(boiler.get("output_btu_h"))
    if output is None or output <= 0:
        return None
    surface = 0.0
    if surface_counts(boiler, terms):
        surface_on_record = as_number(boiler.get("heating_surface_ft2"))
        if surface_on_record is None:
            return None
        surface = surface_on_record
    built = str(boiler.get("firing") or "oil_gas"), str(boiler.get("construction"))
    # Not known how it is built: the row that asks for most.
    required = required_lb_h(output, surface, *(built if built in SURFACE_LB_H_FT2 else ("oil_gas", "watertube")))
    return sum_stamps(required, stamps)


def with_known_output(boiler: Mapping[str, Value], input_btu_h: float | None) -> Mapping[str, Value]:
    """Return the boiler's values with an output: its burner's input stands for one that is missing or far too small.

    A boiler never gives more than its burner puts in, so the valves are held against too much rather than too little.
    """
    if input_btu_h is None or not explain_input_for_output(boiler, input_btu_h):
        return boiler
    return {**boiler, "output_btu_h": input_btu_h}


def explain_input_for_output(boiler: Mapping[str, Value], input_btu_h: float | None) -> str:
    """Return why the burner's input (Btu/h) stands for the boiler's output; '' where the output on record counts."""
    output = as_number(boiler.get("output_btu_h"))
    if not input_btu_h:
        return ""
    if not output:
        return "the burner's input stands for the output, which is not on record"
    if output < LEAST_EFFICIENCY * input_btu_h:
        return (
            f"the burner's input stands for the output on record, {output:,.0f} Btu/h, which is under "
            f"{LEAST_EFFICIENCY:.0%} of it"
        )
    return ""


def surface_counts(boiler: Mapping[str, Value], terms: AdoptedTerms) -> bool:
    """Return whether the adopted rule needs this boiler's heating surface."""
    return terms.relief_rule == GREATER_OF_RULE and boiler.get("construction") != CAST_IRON
