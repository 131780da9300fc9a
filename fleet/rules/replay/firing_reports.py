"""What anybody said of whether the boiler fires, and what service states follow where it is off on record."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from itertools import pairwise
from uuid import UUID

from fleet.calendar.spans import true_spans
from fleet.rules.findings.burner_words import proves_firing, says_off
from fleet.rules.values import EntryFact, Evidence, ServiceChange, ServiceMode, VisitFact, as_number
from fleet.rules.vocabulary import FOUND_OFF, LEFT_FIRING, LEFT_OFF, ArrivalState, LeftAs

AFTER_LAST_ENTRY = 1_000_000  # after every entry of a visit
RESIDUAL_PSI = 1.0  # so much pressure alone says nothing (domain, section 12)


def firing_reports(evidence: Evidence) -> Iterator[tuple[datetime, bool]]:
    """Yield every report on whether the boiler fires, in order. The last report of a visit is how it was left."""
    visits = {v.id: v for v in evidence.visits if v.of_this_boiler}.values()
    words = [word for visit in visits for word in _reports_of_visit(evidence, visit)]
    yield from ((at, fires) for at, _, fires in sorted(words))


def _reports_of_visit(evidence: Evidence, visit: VisitFact) -> Iterator[tuple[datetime, tuple[UUID, int], bool]]:
    """Yield the reports of one visit, each with its instant and its place among those of the same instant."""
    qualified = visit.may_judge_boiler
    # Fired to test, with somebody qualified at the boiler the whole time, it was not left firing.
    safe = qualified and visit.left_as in (*LEFT_OFF, LeftAs.ATTENDED)
    if visit.state_on_arrival in (ArrivalState.FIRING, *FOUND_OFF) and not safe:
        yield visit.at, (visit.id, -1), visit.state_on_arrival == ArrivalState.FIRING
    for entry in visit.entries:
        fires = _is_firing(evidence, entry)
        if fires is not None and not (safe and fires):
            yield entry.at, (visit.id, entry.number), fires
    if visit.left_as in LEFT_FIRING or visit.left_as in LEFT_OFF or safe:
        end = max((e.at for e in visit.entries), default=visit.at)
        yield end, (visit.id, AFTER_LAST_ENTRY), visit.left_as in LEFT_FIRING


def _is_firing(evidence: Evidence, entry: EntryFact) -> bool | None:
    """Return whether an entry says that the burner fired, by itself or by the pressure. None if it says nothing."""
    if says_off(entry):
        return False
    if proves_firing(entry):
        return True
    has_pressure = (as_number(entry.readings.get("gauge_psi")) or 0.0) > RESIDUAL_PSI
    return True if has_pressure and not evidence.header_in_service_at(entry.at) else None


def with_fired_services(evidence: Evidence) -> Evidence:
    """Return the evidence with the boiler in service while it was off on record and fired by the newest word."""
    if all(change.state.runs for change in evidence.services):
        return evidence
    reports = list(firing_reports(evidence))
    # Of several words at one instant the last in order holds.
    ordered = list({s.since: s for s in sorted(evidence.services, key=lambda s: (s.since, s.state))}.values())
    changes: list[ServiceChange] = []
    for change, following in pairwise([*ordered, None]):
        if change is not None:
            fired = list(_fired_changes(change, following.since if following else None, reports))
            # Fired from its first instant on, it was never off.
            changes += fired if fired and fired[0].since == change.since else [change, *fired]
    return replace(evidence, services=tuple(changes)) if changes != ordered else evidence


def _fired_changes(
    change: ServiceChange, until: datetime | None, reports: list[tuple[datetime, bool]]
) -> Iterator[ServiceChange]:
    """Yield the changes within a span in which the register says that the boiler is off."""
    if change.state.runs:
        return
    within = [(at, fires) for at, fires in reports if at >= change.since and (until is None or at < until)]
    for begin, end in true_spans(within):
        yield ServiceChange(ServiceMode.IN_SERVICE, begin, fired_while=change.state)
        if end is not None:
            yield ServiceChange(change.state, end)
