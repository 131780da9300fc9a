"""Whether a reading was taken, and whether it is what its row of the catalogue asks for."""

from collections.abc import Callable
from operator import ge, gt, le, lt

from fleet.engineering.last_places import compare, compare_distance
from fleet.rules.catalogue import Acceptance, ReadingSpec
from fleet.rules.ledger.records import GradingBench

_COMPARE: dict[str, Callable[[int, int], bool]] = {"<=": le, ">=": ge, "<": lt, ">": gt}


def is_taken(bench: GradingBench, spec: ReadingSpec) -> bool:
    """Return whether the reading is there and has its type."""
    if spec.type == "bool":
        return bench.yes_or_no_reading(spec.name) is not None
    if spec.type == "number":
        return bench.number_reading(spec.name) is not None
    return bench.choice_reading(spec.name) in spec.choices


def reference_value(bench: GradingBench, rule: Acceptance) -> float | None:
    """Return the value of device or setting that the rule compares with, None if it names none or none is known."""
    return bench.record.numeric_setting(rule.key) if rule.key else None


def is_accepted(bench: GradingBench, spec: ReadingSpec) -> bool | None:
    """Return whether a taken reading keeps its rule, None if what it is compared with is not known."""
    rule = spec.rule
    if rule is None or not is_taken(bench, spec):
        return None
    if rule.op == "is":
        return bench.yes_or_no_reading(spec.name) is (rule.words == ("yes",))
    if rule.op == "in":
        return bench.choice_reading(spec.name) in rule.words
    value, compared_value = bench.number_reading(spec.name), reference_value(bench, rule) if rule.key else rule.number
    if value is None or compared_value is None:
        return None
    if rule.op == "within":
        return compare_distance(value, compared_value, rule.number or 0.0, spec.unit) <= 0
    return _COMPARE[rule.op](compare(value, compared_value, spec.unit), 0)
