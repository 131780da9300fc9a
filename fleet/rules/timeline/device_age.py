"""A device that has been in place as long as one of its kind is commonly kept: plan its replacement, no more."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from itertools import groupby

from fleet.calendar import add_months, day_of, day_start
from fleet.calendar.spans import Span, merge_spans
from fleet.rules.finding_codes import FindingCode
from fleet.rules.ledger.effects import begin_case
from fleet.rules.ledger.records import PositionRecord, PositionSnapshot, ReplayLedger
from fleet.rules.replay.replay_run import ReplayRun
from fleet.rules.timeline.boundaries import surveyed_at
from fleet.rules.values import Evidence, LawInForce, PositionFact
from fleet.rules.wording import agree, local_day

RULE = FindingCode.PAST_SERVICE_LIFE
MONTHS_A_YEAR = 12


def add_aged_cases(run: ReplayRun) -> None:
    """Open an episode where a device has reached the age of its kind, from the first survey on. Another one ends it."""
    first_seen = surveyed_at(run)
    if RULE not in run.ledger.catalogue.findings or first_seen is None:
        return
    aging_kinds = {k.code for law in run.ledger.evidence.laws for k in law.catalogue.kinds.values() if k.life_years}
    for record in run.ledger.records.values():
        for device, until in _fitted_devices(run.snapshots[record.position.id]):
            if device.kind in aging_kinds:
                aged_spans = _aged_spans(run.ledger.evidence, device, first_seen, until)
                _add_episodes(run.ledger, record, device, merge_spans(aged_spans))


def _fitted_devices(snapshots: Sequence[PositionSnapshot]) -> Iterator[tuple[PositionSnapshot, datetime | None]]:
    """Yield each device that filled a place, by its first snapshot, and when it was taken out (None: never)."""
    devices = [next(same) for _, same in groupby(snapshots, key=lambda s: (s.kind, s.fitted_at, s.end_of_life))]
    yield from zip(devices, [*(following.at for following in devices[1:]), None], strict=True)


def _add_episodes(
    ledger: ReplayLedger, record: PositionRecord, device: PositionSnapshot, aged_spans: Sequence[Span]
) -> None:
    """Add the episodes of one device: one, unless a later release of the catalogue gives its kind more years."""
    for since, end in aged_spans:
        if since is not None:
            sentence = _aged_sentence(ledger.evidence, record.position, device, since)
            case = begin_case(ledger, RULE, place=record, at=since, entry=None, sentence=sentence)
            case.by_time, case.closed_at = True, end


def _aged_spans(
    evidence: Evidence, device: PositionSnapshot, first_seen: datetime, until: datetime | None
) -> Iterator[Span]:
    """Yield, law by law, when the device was as old as its kind is commonly kept."""
    for begin, end, law in evidence.laws_between(device.at, until):
        planned_at = replacement_planned_at(device, law, evidence.zone)
        since = max(t for t in (planned_at, begin, first_seen) if t) if planned_at else None
        if since is not None and (end is None or since < end):
            yield since, end


def replacement_planned_at(device: PositionSnapshot, law: LawInForce, zone: str) -> datetime | None:
    """Return the first instant of the local day on which a device reaches the age of its kind.

    None where the law in force names no age for the kind, or where its maker's own last day is on record: that counts.
    """
    kind = law.catalogue.kinds.get(device.kind)
    if kind is None or kind.life_years is None or device.fitted_at is None or device.end_of_life is not None:
        return None
    return day_start(add_months(day_of(device.fitted_at, zone), MONTHS_A_YEAR * kind.life_years), zone)


def _aged_sentence(evidence: Evidence, place: PositionFact, device: PositionSnapshot, at: datetime) -> str:
    years, fitted_at = evidence.catalogue_at(at).kinds[device.kind].life_years, device.fitted_at
    since = local_day(fitted_at, evidence.zone) if fitted_at else ""
    return (
        f"The {place.name} {agree(place, 'has')} been in place since {since}, {years} years or more: "
        f"plan {agree(place, 'its')} replacement. {agree(place, 'its').capitalize()} maker's instructions go first."
    )
