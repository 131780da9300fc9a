"""Findings that rest on data alone: set points, stamps, ranges. They open when the data come and need no visit."""

from collections.abc import Iterator
from dataclasses import dataclass
from uuid import UUID

from fleet.engineering.ladder import MOST_PSI, Ladder, faults
from fleet.rules.capacity import capacity, surface_counts
from fleet.rules.finding_codes import FindingCode
from fleet.rules.ledger import Ledger, Record

GAUGE_LEAST_PSI = 30.0  # S5, S12, S13


@dataclass(frozen=True, slots=True)
class Wrong:
    """A fault in the data: its rule, its place (None: the boiler) and its sentence."""

    rule: str
    position: UUID | None
    sentence: str


def wrong_by_data(ledger: Ledger) -> list[Wrong]:
    """Return everything wrong in the data as they stand now."""
    return [
        *_ladder(ledger),
        *_relief(ledger),
        *_gauges(ledger),
        *_valves(ledger),
        *_cutoffs(ledger),
        *_missing(ledger),
    ]


def _fitted(ledger: Ledger, role: str) -> list[Record]:
    return [r for r in ledger.records.values() if r.role.code == role and r.device]


def _ladder(ledger: Ledger) -> Iterator[Wrong]:
    """The rungs as set: one of each, the lowest valve being the one that opens first."""
    controls: list[Record | None] = [*_fitted(ledger, "operating_control")] or [None]
    limits: list[Record | None] = [*_fitted(ledger, "high_limit")] or [None]
    for limit in limits:
        for control in controls:
            rungs = Ladder(
                cut_in_psi=control.setting("cut_in_psi") if control else None,
                cut_out_psi=control.setting("cut_out_psi") if control else None,
                limit_psi=limit.setting("set_psi") if limit else None,
                valve_psi=ledger.lowest_setting("safety_valve", "set_psi"),
            )
            at_control = (FindingCode.LADDER_CUT_IN, FindingCode.LADDER_OPERATING_GAP)
            for fault in faults(rungs):
                place = control if fault.code in at_control or limit is None else limit
                yield Wrong(fault.code, place.position.id if place else None, fault.sentence)


def _relief(ledger: Ledger) -> Iterator[Wrong]:
    """The stamps of all valves together against the output; an unknown stamp is not adequate."""
    valves = _fitted(ledger, "safety_valve")
    found = capacity(ledger.boiler, ledger.law.terms, [v.setting("capacity_lb_h") for v in valves]) if valves else None
    if found is None:
        yield from _surface_unknown(ledger, valves)
        return
    needed = f"{found.required_lb_h:g} lb/h are needed"
    if found.adequate is None:
        for valve in (v for v in valves if v.setting("capacity_lb_h") is None):
            told = f"The stamped capacity of the {valve.position.name} is not known: {needed}."
            yield Wrong(FindingCode.CAPACITY_UNKNOWN, valve.position.id, told)
    elif not found.adequate:
        told = f"The safety valves are stamped for {found.installed_lb_h:g} lb/h together: {needed}."
        yield Wrong(FindingCode.CAPACITY_SHORT, valves[0].position.id, told)


def _surface_unknown(ledger: Ledger, valves: list[Record]) -> Iterator[Wrong]:
    """The rule adopted asks for the heating surface and the register does not say it: unknown is not adequate."""
    asked = surface_counts(ledger.boiler, ledger.law.terms) and ledger.boiler.get("output_btu_h")
    if valves and asked and ledger.boiler.get("heating_surface_ft2") is None:
        told = "The heating surface is not on record: by the rule adopted the capacity that is needed is not known."
        yield Wrong(FindingCode.CAPACITY_UNKNOWN, valves[0].position.id, told)


def _gauges(ledger: Ledger) -> Iterator[Wrong]:
    for gauge in _fitted(ledger, "gauge"):
        top = gauge.setting("range_psi")
        most = ledger.law.terms.gauge_most_psi
        if top is not None and not GAUGE_LEAST_PSI <= top <= most:
            told = f"The {gauge.position.name} reads to {top:g} psi: {GAUGE_LEAST_PSI:g} to {most:g} is right."
            yield Wrong(FindingCode.GAUGE_RANGE, gauge.position.id, told)


def _cutoffs(ledger: Ledger) -> Iterator[Wrong]:
    """Two are needed unless a rule, dated and named, says one; two in one chamber count as one."""
    cutoffs = [r for r in ledger.records.values() if r.role.code in ("upper_cutoff", "lower_cutoff") and r.device]
    if len(cutoffs) == 2 and ledger.share_a_chamber(cutoffs[0], cutoffs[1]) and ledger.cutoffs_needed() > 1:
        upper = next((c for c in cutoffs if c.role.code == "upper_cutoff"), cutoffs[0])
        yield Wrong(
            FindingCode.CUTOFFS_IN_ONE_CHAMBER, upper.position.id, "Both cutoffs sit in one chamber: they count as one."
        )


def _valves(ledger: Ledger) -> Iterator[Wrong]:
    for valve in _fitted(ledger, "safety_valve"):
        psi = valve.setting("set_psi")
        if psi is not None and psi > MOST_PSI:
            told = f"The {valve.position.name} is set at {psi:g} psi, over {MOST_PSI:g}."
            yield Wrong(FindingCode.VALVE_OVER_FIFTEEN, valve.position.id, told)


def _missing(ledger: Ledger) -> Iterator[Wrong]:
    """Needed and not there."""
    for record in ledger.records.values():
        needed = record.needed and not ledger.spared(record)
        if needed and not record.device and record.role.part == "protection":
            rule = FindingCode.NOT_FITTED_LAST_LINE if record.role.last_line else FindingCode.NOT_FITTED
            yield Wrong(rule, record.position.id, f"No {record.position.name} is fitted, and it is needed.")
