"""Graders of the water side: flush of a float chamber, slow drain and evaporation."""

from uuid import UUID

from fleet.rules.finding_codes import FindingCode
from fleet.rules.ledger.records import GradingBench, PositionRecord
from fleet.rules.verdicts.graded import GradedTest, failed_test
from fleet.rules.vocabulary import Outcome

GOOD_WITHIN_IN = 0.5  # of its last trip height (domain: three grades of a trip; common practice)
LOWEST_TRIP_IN = 1.0  # above the glass bottom; lower counts as failed (common practice)
HEIGHT_LIMIT = f"trips at least {LOWEST_TRIP_IN:g} in above the glass bottom and above the lowest safe line"


def grade_flush(bench: GradingBench) -> GradedTest:
    """Grade the blowdown of a float chamber with the burner proved firing: at best a *partial* proof."""
    chamber = bench.ledger.chamber_of(bench.record).position
    # Before the burner is asked for: that no water runs is bad news about the chamber, firing or not.
    if bench.choice_reading("water") in ("none", "little"):
        sentence = f"Hardly any water ran from the {chamber.name}: not a test, sediment is presumed in the chamber."
        return GradedTest(Outcome.NOT_A_TEST, sentence, faults=((FindingCode.FLUSH_NO_WATER, chamber.id),))
    if bench.yes_or_no_reading("burner_firing") is False:
        sentence = f"The burner was off: the flush of the {bench.name} neither renews nor fails it."
        return GradedTest(Outcome.NOT_A_TEST, sentence)
    wrong = _flush_faults(bench, chamber.id)
    if wrong:
        sentences = " ".join(sentence for _, sentence in wrong)
        return failed_test(sentences, *(fault for fault, _ in wrong))
    dirty = ((FindingCode.FLUSH_DIRTY, chamber.id),) if bench.choice_reading("sediment") == "very_dirty" else ()
    sentence = f"The flush of the {bench.name} stopped the burner: the switch acts; the pipes are not proven."
    return GradedTest(Outcome.PASS, sentence, "good", "partial", faults=dirty)


def _flush_faults(bench: GradingBench, chamber: UUID) -> list[tuple[tuple[str, UUID], str]]:
    """Return the faults of switch and pipes. Each fails by itself: mending one must not hide the other."""
    faults: list[tuple[tuple[str, UUID], str]] = []
    if bench.yes_or_no_reading("burner_stopped") is False:
        sentence = f"The burner kept firing while the {bench.name} was flushed."
        faults.append(((FindingCode.FLUSH_KEEPS_FIRING, bench.record.position.id), sentence))
    if bench.choice_reading("recovery") in ("slow", "none"):
        sentence = f"The level came back slowly after the flush of the {bench.name}: equalizing pipes fouled."
        faults.append(((FindingCode.FLUSH_SLOW_RECOVERY, chamber), sentence))
    return faults


def grade_lowering_test(bench: GradingBench) -> GradedTest:
    """Grade slow drain or evaporation: the water really falls, so float, pipes, switch and trip height are proven."""
    if bench.yes_or_no_reading("burner_firing") is False:
        return GradedTest(Outcome.NOT_A_TEST, f"The burner was off: nothing about the {bench.name} was proven.")
    position = bench.record.position.id
    if bench.yes_or_no_reading("burner_stopped") is False:
        return failed_test(
            f"The {bench.name} did not stop the burner as the water fell.", (FindingCode.LOWERING_NO_TRIP, position)
        )
    height, limit = bench.number_reading("trip_in"), HEIGHT_LIMIT
    if height is not None and _too_low(bench, height):
        sentence = f"The {bench.name} stopped the burner only at {height:g} in: too low to protect."
        return failed_test(sentence, (FindingCode.LOWERING_TOO_LOW, position), limit=limit)
    if height is not None and (other_record := _out_of_order(bench, height)):
        sentence = (
            f"The {bench.name} stopped the burner at {height:g} in, out of order with the {other_record.position.name}."
        )
        return failed_test(
            sentence,
            (FindingCode.LOWERING_OUT_OF_ORDER, position),
            limit="the cutoff that locks out is the last to act",
        )
    return _lock_out(bench) or _passed_test(bench, height, limit)


def _lock_out(bench: GradingBench) -> GradedTest | None:
    """Return why the manual reset of the lower cutoff failed or is not proven. None if it is, or if none is needed."""
    if not bench.record.role.last_line or bench.yes_or_no_reading("locked_out") is True:
        return None
    limit = "stays out until reset by hand"
    if bench.yes_or_no_reading("locked_out") is False:
        sentence = f"The {bench.name} let the burner restart by itself: it must stay out until reset by hand."
        return failed_test(sentence, (FindingCode.LOWER_CUTOFF_RESTARTS, bench.record.position.id), limit=limit)
    sentence = f"The {bench.name} stopped the burner, but whether it stayed out until reset by hand was not recorded."
    return GradedTest(Outcome.INCONCLUSIVE, sentence, limit=limit)


def _too_low(bench: GradingBench, height: float) -> bool:
    safe_line = bench.ledger.boiler.get("lowest_safe_line_in")
    under = isinstance(safe_line, (int, float)) and height <= safe_line
    return height < LOWEST_TRIP_IN or under


def _out_of_order(bench: GradingBench, height: float) -> PositionRecord | None:
    """Return the other cutoff whose last trip height contradicts the order in which they must act."""
    own_role = bench.record.role
    for other_record in bench.ledger.records.values():
        theirs, last = other_record.role, other_record.last_trip_in
        if (
            theirs.part != "protection"
            or theirs.hazard != own_role.hazard
            or last is None
            or theirs.order == own_role.order
        ):
            continue
        if (height <= last) if own_role.order < theirs.order else (height >= last):
            return other_record
    return None


def grade_inspection(bench: GradingBench) -> GradedTest:
    """Grade an opened chamber: the claim counts. Dirt that was cleaned is a note, not a failure."""
    condition = {True: " It was found clean.", False: " It was found dirty.", None: ""}[
        bench.yes_or_no_reading("found_clean")
    ]
    return GradedTest(Outcome.PASS, f"The {bench.name} was opened and inspected.{condition}", "good", "full")


def _passed_test(bench: GradingBench, height: float | None, limit: str) -> GradedTest:
    last = bench.record.last_trip_in
    drifted = height is not None and last is not None and abs(height - last) > GOOD_WITHIN_IN
    where = "" if height is None else f" at {height:g} in"
    drift_text = f", more than {GOOD_WITHIN_IN:g} in from its last height: adjust" if drifted else ""
    sentence = f"The {bench.name} stopped the burner{where} as the water fell{drift_text}."
    return GradedTest(
        Outcome.PASS, sentence, grade="drifted" if drifted else "good", proves="full", limit=limit, set_value=last
    )
