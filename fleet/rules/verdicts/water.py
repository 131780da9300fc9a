"""Graders of the water side: flush of a float chamber, slow drain and evaporation."""

from uuid import UUID

from fleet.rules.finding_codes import FindingCode
from fleet.rules.ledger import Bench, Record
from fleet.rules.verdicts.graded import Graded, failed
from fleet.rules.vocabulary import Outcome

GOOD_WITHIN_IN = 0.5  # of its last trip height (domain: three grades of a trip; common practice)
LOWEST_TRIP_IN = 1.0  # above the glass bottom; lower counts as failed (common practice)
HEIGHT_LIMIT = f"trips at least {LOWEST_TRIP_IN:g} in above the glass bottom and above the lowest safe line"


def flush(bench: Bench) -> Graded:
    """Float chamber blowdown with the burner proved firing: at best a *partial* proof, of the switch only."""
    chamber = bench.ledger.chamber_of(bench.record).position
    # Before the burner is asked for: that no water runs is bad news about the chamber, firing or not.
    if bench.word("water") in ("none", "little"):
        sentence = f"Hardly any water ran from the {chamber.name}: not a test, sediment is presumed in the chamber."
        return Graded(Outcome.NOT_A_TEST, sentence, faults=((FindingCode.FLUSH_NO_WATER, chamber.id),))
    if bench.flag("burner_firing") is False:
        sentence = f"The burner was off: the flush of the {bench.name} neither renews nor fails it."
        return Graded(Outcome.NOT_A_TEST, sentence)
    wrong = _flush_faults(bench, chamber.id)
    if wrong:
        told = " ".join(sentence for _, sentence in wrong)
        return failed(told, *(fault for fault, _ in wrong))
    dirty = ((FindingCode.FLUSH_DIRTY, chamber.id),) if bench.word("sediment") == "very_dirty" else ()
    sentence = f"The flush of the {bench.name} stopped the burner: the switch acts; the pipes are not proven."
    return Graded(Outcome.PASS, sentence, "good", "partial", faults=dirty)


def _flush_faults(bench: Bench, chamber: UUID) -> list[tuple[tuple[str, UUID], str]]:
    """Switch and pipes fail each by themselves: mending one must not hide the other."""
    found: list[tuple[tuple[str, UUID], str]] = []
    if bench.flag("burner_stopped") is False:
        told = f"The burner kept firing while the {bench.name} was flushed."
        found.append(((FindingCode.FLUSH_KEEPS_FIRING, bench.record.position.id), told))
    if bench.word("recovery") in ("slow", "none"):
        told = f"The level came back slowly after the flush of the {bench.name}: equalizing pipes fouled."
        found.append(((FindingCode.FLUSH_SLOW_RECOVERY, chamber), told))
    return found


def lowering_test(bench: Bench) -> Graded:
    """Slow drain or evaporation: the water really falls, so float, pipes, switch and trip height are all proven."""
    if bench.flag("burner_firing") is False:
        return Graded(Outcome.NOT_A_TEST, f"The burner was off: nothing about the {bench.name} was proven.")
    here = bench.record.position.id
    if bench.flag("burner_stopped") is False:
        return failed(
            f"The {bench.name} did not stop the burner as the water fell.", (FindingCode.LOWERING_NO_TRIP, here)
        )
    height, limit = bench.number("trip_in"), HEIGHT_LIMIT
    if height is not None and _too_low(bench, height):
        sentence = f"The {bench.name} stopped the burner only at {height:g} in: too low to protect."
        return failed(sentence, (FindingCode.LOWERING_TOO_LOW, here), limit=limit)
    if height is not None and (other := _out_of_order(bench, height)):
        sentence = f"The {bench.name} stopped the burner at {height:g} in, out of order with the {other.position.name}."
        return failed(
            sentence, (FindingCode.LOWERING_OUT_OF_ORDER, here), limit="the cutoff that locks out is the last to act"
        )
    return _lock_out(bench) or _passed(bench, height, limit)


def _lock_out(bench: Bench) -> Graded | None:
    """Why the lower cutoff's manual reset is failed or not proven; None if it is, or none is asked of this one."""
    if not bench.record.role.last_line or bench.flag("locked_out") is True:
        return None
    limit = "stays out until reset by hand"
    if bench.flag("locked_out") is False:
        sentence = f"The {bench.name} let the burner restart by itself: it must stay out until reset by hand."
        return failed(sentence, (FindingCode.LOWER_CUTOFF_RESTARTS, bench.record.position.id), limit=limit)
    sentence = f"The {bench.name} stopped the burner, but whether it stayed out until reset by hand was not recorded."
    return Graded(Outcome.INCONCLUSIVE, sentence, limit=limit)


def _too_low(bench: Bench, height: float) -> bool:
    safe_line = bench.ledger.boiler.get("lowest_safe_line_in")
    under = isinstance(safe_line, (int, float)) and height <= safe_line
    return height < LOWEST_TRIP_IN or under


def _out_of_order(bench: Bench, height: float) -> Record | None:
    """The other cutoff of the same hazard whose last trip height contradicts the order in which they must act."""
    mine = bench.record.role
    for other in bench.ledger.records.values():
        theirs, last = other.role, other.last_trip_in
        if theirs.part != "protection" or theirs.hazard != mine.hazard or last is None or theirs.order == mine.order:
            continue
        if (height <= last) if mine.order < theirs.order else (height >= last):
            return other
    return None


def inspection(bench: Bench) -> Graded:
    """Chamber opened and looked into: what was claimed counts; found dirty and cleaned is a note, not a failure."""
    found = {True: " It was found clean.", False: " It was found dirty.", None: ""}[bench.flag("found_clean")]
    return Graded(Outcome.PASS, f"The {bench.name} was opened and inspected.{found}", "good", "full")


def _passed(bench: Bench, height: float | None, limit: str) -> Graded:
    last = bench.record.last_trip_in
    drifted = height is not None and last is not None and abs(height - last) > GOOD_WITHIN_IN
    where = "" if height is None else f" at {height:g} in"
    moved = f", more than {GOOD_WITHIN_IN:g} in from its last height: adjust" if drifted else ""
    sentence = f"The {bench.name} stopped the burner{where} as the water fell{moved}."
    return Graded(Outcome.PASS, sentence, "drifted" if drifted else "good", "full", limit, last)
