"""Levels that were read, and a glass without a line: empty until cocks and blowdown prove otherwise."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from uuid import UUID

from fleet.engineering.last_places import compare
from fleet.rules.finding_codes import FindingCode
from fleet.rules.findings.burner_words import is_burner_on, proves_firing, was_firing
from fleet.rules.findings.found_fault import FoundFault
from fleet.rules.findings.water_side import find_glass_empty
from fleet.rules.ledger.records import EntryTrace, PositionRecord, ReplayLedger
from fleet.rules.values import EntryFact, VisitFact, as_number
from fleet.rules.vocabulary import EntryAct, Outcome

UNDER_TRIP_IN = 0.5  # so far under its trip height a cutoff must have acted (common practice)
LEVEL_SEEN, BLOWDOWN = "level_observation", "gauge_glass_blowdown"
BLOWN_DOWN_WITHIN = timedelta(hours=1)  # later, a feeder may have filled what was empty (common practice)
FEEDING = frozenset({"feed_water", "refill", "feeder_check"})
HOT_FOR = timedelta(hours=8)  # found empty with its burner off, a boiler is taken to be hot so long (common practice)
EMPTY_RULES = (FindingCode.GLASS_EMPTY_FIRING, FindingCode.GLASS_EMPTY_OFF)


def find_no_line(
    ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, record: PositionRecord | None
) -> Iterator[FoundFault]:
    """Yield a glass without a line: full only where a blowdown had shown water before in that visit, else empty."""
    shown = any(t.visit.id == visit.id and _shows_water(ledger, t.visit, t.entry, t.outcome) for t in ledger.trail)
    if entry.code == "glass_full" and shown:
        yield FindingCode.GLASS_FULL, record, "The glass was full with no line in it, blown down and showing water."
        return
    ledger.unseen_lines[entry.id] = visit.id
    yield from find_glass_empty(ledger, visit, entry, record)


def _shows_water(ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, outcome: str) -> bool:
    """Return whether an entry is a blowdown that passed, by somebody who is more than an operator.

    After one that left the line under the glass no water is seen.
    """
    passed = entry.code == BLOWDOWN and outcome == Outcome.PASS and not _is_under_glass(entry)
    allowed = ledger.catalogue.procedures[BLOWDOWN].who & visit.good_news_from if passed else frozenset()
    return bool(allowed - {"operator"})


def _is_under_glass(entry: EntryFact) -> bool:
    height = as_number(entry.readings.get("glass_in"))
    return height is not None and height < 0


def find_level_faults(
    ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, record: PositionRecord
) -> Iterator[FoundFault]:
    """Yield what a level that was read, or a blowdown after a glass without a line, says."""
    if entry.act != EntryAct.TEST:
        return
    if entry.code in (LEVEL_SEEN, BLOWDOWN) and (_is_under_glass(entry) or entry.readings.get("line_visible") is False):
        yield from find_no_line(ledger, visit, entry, None)
    elif entry.code == LEVEL_SEEN:
        yield from _cutoffs_below(ledger, visit, entry)
    elif _shows_water(ledger, visit, entry, ledger.outcomes.get(entry.id, "")):
        yield from _prove_water(ledger, visit, entry, record)


def _cutoffs_below(ledger: ReplayLedger, visit: VisitFact, entry: EntryFact) -> Iterator[FoundFault]:
    """Yield cutoffs that let the burner fire with the water steadily half an inch or more under their trip height."""
    height, seconds = as_number(entry.readings.get("glass_in")), as_number(entry.readings.get("firing_seconds"))
    if height is None or entry.readings.get("steady") is False or not is_burner_on(visit, entry):
        return
    for cutoff in ledger.records.values():
        trip = cutoff.last_trip_in if cutoff.last_trip_in is not None else cutoff.numeric_setting("trip_in")
        delay = cutoff.numeric_setting("fixed_delay_s") or 0.0
        is_cutoff = cutoff.device is not None and cutoff.role.code in ("upper_cutoff", "lower_cutoff")
        if not is_cutoff or trip is None or (seconds is not None and seconds <= delay):
            continue
        if compare(height, trip - UNDER_TRIP_IN, "in") <= 0:
            name = cutoff.position.name
            sentence = f"The burner fired with the water at {height:g} in: the {name} trips at {trip:g} and did not."
            yield FindingCode.CUTOFF_BELOW_TRIP, cutoff, sentence


def _prove_water(
    ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, record: PositionRecord
) -> Iterator[FoundFault]:
    """Withdraw *empty* where the blowdown shows water and nothing was fed since; without a line the glass is full.

    What another entry found as well stays.
    """
    lines_to_prove = _lines_to_prove(ledger, entry)
    withdrawn = [c for c in ledger.open_cases() if c.found_in and c.found_in <= lines_to_prove]
    for case in withdrawn:
        case.closed_at, case.closed_by, ledger.reaches_all = entry.at, entry.id, True
    for seen in lines_to_prove:
        del ledger.unseen_lines[seen]
    if withdrawn and as_number(entry.readings.get("glass_in")) is None:
        sentence = f"The {record.position.name} showed water when it was blown down, and no line: it is full."
        yield FindingCode.GLASS_FULL, record, sentence


def _lines_to_prove(ledger: ReplayLedger, entry: EntryFact) -> set[UUID]:
    """Return the entries that saw no line and that a blowdown now still answers."""
    entries: set[UUID] = set()
    for trace in reversed(ledger.trail):
        if trace.entry.code in FEEDING or entry.at - trace.entry.at > BLOWN_DOWN_WITHIN:
            break
        if trace.entry.id in ledger.unseen_lines:
            entries.add(trace.entry.id)
    return entries


def find_feed_into_hot(ledger: ReplayLedger, visit: VisitFact, entry: EntryFact) -> Iterator[FoundFault]:
    """Yield that water was fed into an empty boiler that nobody said was cool: as if it had been fired dry."""
    first_seen = {c.entry for c in ledger.open_cases() if c.rule.code in EMPTY_RULES}
    if not _is_fed(entry) or not first_seen:
        return
    for trace in reversed(ledger.trail):
        said_cool = trace.entry.code == "boiler_cool" and trace.visit.may_judge_boiler
        if said_cool or (trace.entry.id != entry.id and _is_fed(trace.entry)):
            return
        if _is_hot_by(ledger, trace, entry.at):
            sentence = "Water was fed into an empty boiler that was not said to be cool: it counts as fired dry."
            yield FindingCode.DRY_FIRED, None, sentence
            return
        first_seen.discard(trace.entry.id)
        if not first_seen:
            return  # a fire from before it was empty heated water


def _is_hot_by(ledger: ReplayLedger, trace: EntryTrace, at: datetime) -> bool:
    """Return whether an entry says that the boiler, empty at `at`, is hot still.

    A fire under an empty boiler makes it hot until somebody qualified has looked: no clock says that it has cooled.
    """
    if proves_firing(trace.entry):
        return True
    seen_empty = trace.entry.id in ledger.unseen_lines or trace.entry.code == "glass_empty"
    return seen_empty and (was_firing(trace.visit, trace.entry) or at - trace.entry.at <= HOT_FOR)


def _is_fed(entry: EntryFact) -> bool:
    """Return whether an entry brought water in: by hand, or in a test of the feeder in which it fed."""
    is_done = entry.outcome != Outcome.NOT_DONE and entry.readings.get("feeds_when_low") is not False
    return entry.code in FEEDING and is_done
