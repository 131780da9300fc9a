"""Findings that rest on data alone: set points, stamps, ranges. They open when the data come and need no visit."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from uuid import UUID

from fleet.engineering.ladder import MAX_STEAM_PSI, Ladder, faults_of_gauge, find_ladder_faults, is_over_fifteen
from fleet.rules.capacity import compare_capacity, explain_input_for_output, surface_counts, with_known_output
from fleet.rules.finding_codes import FindingCode
from fleet.rules.ledger.records import PositionRecord, ReplayLedger
from fleet.rules.ledger.register_needs import boiler_facts, burner_input_btu_h, find_gaps
from fleet.rules.needed_roles import in_words, needs_of_boiler
from fleet.rules.values import PositionFact, Value
from fleet.rules.wording import agree


@dataclass(frozen=True, slots=True)
class DataFault:
    """A fault in the data: its rule, its place (None: the boiler) and its sentence."""

    rule: str
    position: UUID | None
    sentence: str


def wrong_by_data(ledger: ReplayLedger) -> list[DataFault]:
    """Return everything wrong in the data as they stand now."""
    return [
        *_ladder_faults(ledger),
        *_relief_faults(ledger),
        *_gauge_faults(ledger),
        *_valve_faults(ledger),
        *_cutoff_faults(ledger),
        *_missing_devices(ledger),
        *_empty_needs(ledger),
        *_register_gaps(ledger),
    ]


def _records_fitted(ledger: ReplayLedger, role: str) -> list[PositionRecord]:
    return [r for r in ledger.records.values() if r.role.code == role and r.device]


def _ladder_faults(ledger: ReplayLedger) -> Iterator[DataFault]:
    """Yield faults of the set points. Of several valves the lowest counts, since it opens first."""
    controls: list[PositionRecord | None] = [*_records_fitted(ledger, "operating_control")] or [None]
    limits: list[PositionRecord | None] = [*_records_fitted(ledger, "high_limit")] or [None]
    for limit in limits:
        for control in controls:
            rungs = Ladder(
                cut_in_psi=control.numeric_setting("cut_in_psi") if control else None,
                cut_out_psi=control.numeric_setting("cut_out_psi") if control else None,
                limit_psi=limit.numeric_setting("set_psi") if limit else None,
                valve_psi=ledger.lowest_setting("safety_valve", "set_psi"),
            )
            at_control = (FindingCode.LADDER_CUT_IN, FindingCode.LADDER_OPERATING_GAP)
            for fault in find_ladder_faults(rungs):
                place = control if fault.code in at_control or limit is None else limit
                yield DataFault(fault.code, place.position.id if place else None, fault.sentence)


def _relief_faults(ledger: ReplayLedger) -> Iterator[DataFault]:
    """Yield faults of the stamped capacity of all valves together. An unknown stamp is not adequate."""
    valves = _records_fitted(ledger, "safety_valve")
    boiler = with_known_output(ledger.boiler, burner_input_btu_h(ledger))
    relief = (
        compare_capacity(boiler, ledger.law.terms, [v.numeric_setting("capacity_lb_h") for v in valves])
        if valves
        else None
    )
    if relief is None:
        yield from _surface_unknown(ledger, boiler, valves)
        return
    stands_in = explain_input_for_output(ledger.boiler, burner_input_btu_h(ledger))
    needed = f"{relief.required_lb_h:g} lb/h are needed" + (f" ({stands_in})" if stands_in else "")
    if relief.adequate is None:
        for valve in (v for v in valves if v.numeric_setting("capacity_lb_h") is None):
            sentence = f"The stamped capacity of the {valve.position.name} is not known: {needed}."
            yield DataFault(FindingCode.CAPACITY_UNKNOWN, valve.position.id, sentence)
    elif not relief.adequate:
        sentence = f"The safety valves are stamped for {relief.installed_lb_h:g} lb/h together: {needed}."
        yield DataFault(FindingCode.CAPACITY_SHORT, valves[0].position.id, sentence)


def _surface_unknown(
    ledger: ReplayLedger, boiler: Mapping[str, Value], valves: list[PositionRecord]
) -> Iterator[DataFault]:
    """Yield the fault that the adopted rule needs the heating surface and the register does not have it."""
    counts_surface = surface_counts(boiler, ledger.law.terms) and boiler.get("output_btu_h")
    if valves and counts_surface and boiler.get("heating_surface_ft2") is None:
        sentence = "The heating surface is not on record: by the rule adopted the capacity that is needed is not known."
        yield DataFault(FindingCode.CAPACITY_UNKNOWN, valves[0].position.id, sentence)


def _gauge_faults(ledger: ReplayLedger) -> Iterator[DataFault]:
    for gauge in _records_fitted(ledger, "gauge"):
        for fault in faults_of_gauge(gauge.numeric_setting("range_psi"), ledger.law.terms.gauge_most_psi):
            sentence = fault.sentence.replace("The gauge", f"The {gauge.position.name}", 1)
            yield DataFault(FindingCode.GAUGE_RANGE, gauge.position.id, sentence)


def _cutoff_faults(ledger: ReplayLedger) -> Iterator[DataFault]:
    """Yield the fault that two cutoffs sit in one chamber and count as one, where two are needed."""
    cutoffs = [r for r in ledger.records.values() if r.role.code in ("upper_cutoff", "lower_cutoff") and r.device]
    if len(cutoffs) == 2 and ledger.share_a_chamber(cutoffs[0], cutoffs[1]) and ledger.cutoffs_needed() > 1:
        upper = next((c for c in cutoffs if c.role.code == "upper_cutoff"), cutoffs[0])
        yield DataFault(
            FindingCode.CUTOFFS_IN_ONE_CHAMBER, upper.position.id, "Both cutoffs sit in one chamber: they count as one."
        )


def _valve_faults(ledger: ReplayLedger) -> Iterator[DataFault]:
    for valve in _records_fitted(ledger, "safety_valve"):
        psi = valve.numeric_setting("set_psi")
        if psi is not None and is_over_fifteen(psi):
            sentence = f"The {valve.position.name} is set at {psi:g} psi, over {MAX_STEAM_PSI:g}."
            yield DataFault(FindingCode.VALVE_OVER_FIFTEEN, valve.position.id, sentence)


def _register_gaps(ledger: ReplayLedger) -> Iterator[DataFault]:
    """Yield one fault that lists everything the boiler needs and the register does not name."""
    gaps = find_gaps(ledger)
    if gaps:
        yield DataFault(FindingCode.NOT_ON_RECORD, None, f"Not on record: {in_words(gaps)}.")


def _empty_needs(ledger: ReplayLedger) -> Iterator[DataFault]:
    """Yield what every such boiler needs beside protections, where all places on record for it are empty."""
    if not ledger.register_asked:
        return
    for need in needs_of_boiler(ledger.catalogue, boiler_facts(ledger)):
        places = [r for r in ledger.records.values() if r.on_record and r.role.code in need.roles]
        is_layer = any(place.role.part == "protection" for place in places)
        if need.none_allowed or is_layer or not places or any(place.device for place in places):
            continue
        place = places[0]
        is_path = place.role.part == "output_path"  # without it no control stops the burner
        rule = FindingCode.NOT_FITTED_LAST_LINE if is_path else FindingCode.NOT_FITTED
        yield DataFault(rule, place.position.id, _missing_sentence(place.position))


def _missing_devices(ledger: ReplayLedger) -> Iterator[DataFault]:
    """Yield needed positions without a device."""
    for record in ledger.records.values():
        if ledger.is_needed(record) and not record.device and record.role.part == "protection":
            rule = FindingCode.NOT_FITTED_LAST_LINE if record.role.last_line else FindingCode.NOT_FITTED
            yield DataFault(rule, record.position.id, _missing_sentence(record.position))


def _missing_sentence(place: PositionFact) -> str:
    is_ = agree(place, "is")
    return f"No {place.name} {is_} fitted, and {agree(place, 'it')} {is_} needed."
