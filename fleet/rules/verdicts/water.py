"""Graders of the water side: flush of a float chamber, slow drain and evaporation."""

from dataclasses import replace
from uuid import UUID

from fleet.engineering.trips import CUTOFF_NEAR_IN, CutoffLevels, TripGrade, grade_cutoff_trip
from fleet.engineering.water import is_lowest_line_doubtful, question_lowest_line
from fleet.rules.finding_codes import FindingCode
from fleet.rules.ledger.records import GradingBench
from fleet.rules.values import as_number
from fleet.rules.verdicts.graded import GradedTest, failed_test
from fleet.rules.verdicts.table import finding_of_failure
from fleet.rules.vocabulary import Outcome

HEIGHT_LIMIT = "trips in sight in the glass and not under the lowest safe line"
ORDER_LIMIT = "the cutoff that locks out is the last to act"
TOO_LOW = frozenset({"too_low", "under_lowest_line"})  # why a trip failed: the water may be gone before it acts


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
    if bench.record.role.last_line and bench.yes_or_no_reading("locked_out") is False:
        sentence = f"The {bench.name} let the burner restart by itself after the flush: it must stay out until reset."
        faults.append(((FindingCode.LOWER_CUTOFF_RESTARTS, bench.record.position.id), sentence))
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
    height = bench.number_reading("trip_in")
    read = None if height is None else grade_cutoff_trip(height, _levels_of(bench))
    if read is not None and read.grade == "failed":
        return _failed_height(bench, read)
    return _lock_out(bench) or _passed_test(bench, read)


def _failed_height(bench: GradingBench, read: TripGrade) -> GradedTest:
    """Return the failure of a trip height, with the question that a lowest safe line in the glass raises."""
    rules = {"out_of_order": FindingCode.LOWERING_OUT_OF_ORDER, **dict.fromkeys(TOO_LOW, FindingCode.LOWERING_TOO_LOW)}
    rule = rules.get(read.why) or finding_of_failure(bench)
    limit = ORDER_LIMIT if read.why == "out_of_order" else HEIGHT_LIMIT
    sentence = f"The {bench.name} stopped the burner at the wrong height. {' '.join(read.sentences)}"
    graded = failed_test(sentence, (rule, bench.record.position.id), limit=limit)
    lowest = as_number(bench.ledger.boiler.get("lowest_safe_line_in"))
    if read.why == "under_lowest_line" and lowest is not None and is_lowest_line_doubtful(lowest):
        return replace(graded, question=question_lowest_line(lowest))
    return graded


def _levels_of(bench: GradingBench) -> CutoffLevels:
    """Return what a trip height is held against: mark or first height, lowest safe line, the other cutoffs' trips."""
    order, trips_by_order = bench.record.role.order, _other_trips(bench)
    return CutoffLevels(
        reference_in=bench.record.reference_trip_in(),
        lowest_in=as_number(bench.ledger.boiler.get("lowest_safe_line_in")),
        under_in=max((trip for other, trip in trips_by_order if other > order), default=None),
        over_in=min((trip for other, trip in trips_by_order if other < order), default=None),
    )


def _other_trips(bench: GradingBench) -> list[tuple[int, float]]:
    """Return order and last trip height of each other protection against the same hazard."""
    own_role = bench.record.role
    return [
        (r.role.order, r.last_trip_in)
        for r in bench.ledger.records.values()
        if r.role.part == "protection" and r.role.hazard == own_role.hazard and r.last_trip_in is not None
    ]


def _lock_out(bench: GradingBench) -> GradedTest | None:
    """Return why the manual reset of the lower cutoff failed or is not proven. None if it is, or if none is needed."""
    if not bench.record.role.last_line or bench.yes_or_no_reading("locked_out") is True:
        return None
    limit = "stays out until reset by hand"
    if bench.yes_or_no_reading("locked_out") is False:
        sentence = f"The {bench.name} let the burner restart by itself: it must stay out until reset by hand."
        fault = (FindingCode.LOWER_CUTOFF_RESTARTS, bench.record.position.id)
        return replace(failed_test(sentence, fault, limit=limit), reading="locked_out")
    sentence = f"The {bench.name} stopped the burner, but whether it stayed out until reset by hand was not recorded."
    return GradedTest(Outcome.INCONCLUSIVE, sentence, limit=limit, reading="locked_out")


def grade_inspection(bench: GradingBench) -> GradedTest:
    """Grade an opened chamber: the claim counts. Dirt that was cleaned is a note, not a failure."""
    condition = {True: " It was found clean.", False: " It was found dirty.", None: ""}[
        bench.yes_or_no_reading("found_clean")
    ]
    return GradedTest(Outcome.PASS, f"The {bench.name} was opened and inspected.{condition}", "good", "full")


def _passed_test(bench: GradingBench, read: TripGrade | None) -> GradedTest:
    height, reference = bench.number_reading("trip_in"), bench.record.reference_trip_in()
    drifted = read is not None and read.grade == "drifted"
    where = "" if height is None else f" at {height:g} in"
    drift_text = f", more than {CUTOFF_NEAR_IN:g} in from its mark or first height: adjust" if drifted else ""
    sentence = f"The {bench.name} stopped the burner{where} as the water fell{drift_text}."
    grade = "drifted" if drifted else "good"
    return GradedTest(Outcome.PASS, sentence, grade, proves="full", limit=HEIGHT_LIMIT, set_value=reference)
