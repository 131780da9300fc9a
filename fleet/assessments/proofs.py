"""The newest proofs of a place and when they are due again; test outcomes of devices."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from uuid import UUID

from fleet.assessments.models import Verdict
from fleet.assessments.relays import Relay, relays_of
from fleet.rules.catalogue import Catalogue
from fleet.rules.ledger.clocks import adopted_timing, due_of
from fleet.rules.values import AdoptedTerms, LawInForce
from fleet.visits.places import Stay


@dataclass(frozen=True, slots=True)
class Proof:
    """The newest pass of one procedure, and when it is due again by time alone, and lapses if it is a full proof."""

    procedure: str
    name: str
    proof: str
    passed_at: datetime
    visit: UUID
    entry: UUID
    due_at: datetime | None
    lapses_at: datetime | None
    relay: Relay | None = None  # who said it, where it is an operator's word that the desk entered


def proofs_of_stay(stay: Stay, terms: AdoptedTerms, release: Catalogue, zone: str, at: datetime) -> list[Proof]:
    """Return the newest pass of each procedure by the device that fills a place."""
    return newest_proofs([stay], terms, release=release, zone=zone, at=at).get(stay.position, [])


def newest_proofs(
    stays: Iterable[Stay], terms: AdoptedTerms, release: Catalogue, zone: str, at: datetime
) -> dict[UUID, list[Proof]]:
    """Return the same for the devices of several places, by place: one query, and two where any is relayed."""
    fitted = {s.position: s.since for s in stays}
    passed_verdicts = Verdict.objects.filter(entry__position__in=fitted, outcome="pass", entry__performed_at__lte=at)
    order = ("entry__position", "entry__code", "-entry__performed_at", "-entry__number")
    newest_by_place = (
        passed_verdicts.select_related("entry").order_by(*order).distinct("entry__position", "entry__code")
    )
    law = LawInForce(None, terms, release)
    proofs: dict[UUID, list[Proof]] = {}
    relays = relays_of(newest_by_place)
    for verdict in newest_by_place:
        place = verdict.entry.position_id
        if place and verdict.entry.performed_at >= fitted[place] and verdict.entry.code in release.procedures:
            proof = replace(_build_proof(verdict, law, zone), relay=relays.get(verdict.entry_id))
            proofs.setdefault(place, []).append(proof)
    return proofs


def _build_proof(verdict: Verdict, law: LawInForce, zone: str) -> Proof:
    entry, procedure = verdict.entry, law.catalogue.procedures[verdict.entry.code]
    interval_terms = adopted_timing(law, procedure)
    due = due_of(interval_terms, entry.performed_at, law.terms, zone) if interval_terms else None
    lapses = due.lapsed_at(zone) if due and procedure.proof == "full" else None
    fields = entry.code, procedure.name, procedure.proof, entry.performed_at, entry.visit_id, entry.id
    return Proof(*fields, due.due_at(zone) if due else None, lapses)


def count_outcomes(stays: Iterable[Stay], places: Sequence[UUID], at: datetime) -> dict[UUID, dict[str, int]]:
    """Return by device how many of its tests had each outcome while it was fitted, by present knowledge: one query."""
    spans: dict[UUID, list[Stay]] = {}
    for stay in stays:
        spans.setdefault(stay.position, []).append(stay)
    counts_by_device: dict[UUID, Counter[str]] = {}
    judged = Verdict.objects.filter(entry__position__in=places, entry__act="test", entry__performed_at__lte=at)
    for place, moment, outcome in judged.values_list("entry__position", "entry__performed_at", "outcome"):
        for stay in spans.get(place, ()):
            if stay.since <= moment and (stay.until is None or moment < stay.until):
                counts_by_device.setdefault(stay.device.id, Counter())[outcome] += 1
    return {device: dict(sorted(counts.items())) for device, counts in counts_by_device.items()}
