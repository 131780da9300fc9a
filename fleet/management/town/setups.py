"""Houses of four and five stories with their boilers: plausible set-ups as rows of a register sheet."""

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta

from fleet.management.town.chance import Chance
from fleet.management.town.told import Boiler, House, Member, Place, Value
from fleet.management.town.words import STREETS, ZONE

FUELS = ("natural_gas", "natural_gas", "natural_gas", "oil_2", "propane")
BTU_A_UNIT = 34_000  # of a brick house of this age (common practice, wide)
LB_H_BTU = 1000.0
HOURS = ("", "", "mon-fri 07:00-19:00; sat 08:00-14:00", "mon-sat 07:00-18:00")
WHOLE, LEAN = "whole", "lean"


def houses(chance: Chance, ref: str, people: Sequence[Member], count: int, today: date, years: float) -> list[House]:
    """Return the houses of one property manager. Every third house has two boilers."""
    streets = chance.shuffled(STREETS)
    skilled = [m.username for m in people if m.role == "caretaker" and m.qualifications]
    others = [m.username for m in people if m.role == "caretaker" and not m.qualifications]
    made = []
    for n in range(count):
        who = (others or skilled)[0] if n % 13 == 7 else skilled[n % len(skilled)]  # a caretaker without qualification
        made.append(_house(chance.of(n), f"{ref[:2]}{n + 1:02}", n, streets, who, today, years))
    return made


def _house(
    chance: Chance, ref: str, n: int, streets: Sequence[str], caretaker: str, today: date, years: float
) -> House:
    units = 48 if n % 9 == 4 else chance.whole(14, 40)
    pair = n % 3 == 0
    since = today - timedelta(days=round(365.25 * years) + chance.whole(60, 400))
    address = f"{chance.whole(2, 140)} {streets[n % len(streets)]}"
    boilers = [_boiler(chance.of(b), ref, b, units, since, n, pair) for b in range(2 if pair else 1)]
    if n % 15 == 6:  # a house with a separate boiler for hot water
        boilers[-1] = (
            replace(boilers[-1], name="Hot water boiler", seasonal=False, values={**boilers[-1].values, "heats": "no"})
            if pair
            else replace(boilers[-1], seasonal=False)
        )
    if n == 3:  # one make-up meter for both boilers
        first, other = boilers
        meter = replace(first.places["meter"], name="shared make-up meter", shared=True)
        boilers[0] = replace(first, places={**first.places, "meter": meter})
        boilers[1] = replace(other, places={k: v for k, v in other.places.items() if k != "meter"})
    return House(ref, address, units, chance.one_of(HOURS), caretaker, tuple(boilers))


def _boiler(chance: Chance, house: str, number: int, units: int, since: date, n: int, pair: bool) -> Boiler:
    output = float(round(units * BTU_A_UNIT / (1.6 if pair else 1.0), -4))
    fuel = chance.one_of(FUELS)
    layout = WHOLE if (n + number) % 4 == 0 else LEAN
    values: dict[str, Value] = {
        "output_btu_h": output,
        "lowest_safe_line_in": 1.0,
        "normal_line_in": 4.0,
        "fuel": fuel,
        "construction": chance.one_of(("cast_iron", "cast_iron", "firetube")),
        "firing": "oil_gas",
    }
    places = [*_water(chance, layout), *_pressure(chance, output, layout), *_fire(chance, fuel, output, layout)]
    fitted = since - timedelta(days=chance.whole(0, 1500))
    dated = {p.ref: replace(p, fitted_on=max(fitted, since)) for p in places}
    name = f"Boiler {number + 1}" if pair else "Boiler"
    return Boiler(house, f"B{number + 1}", name, since, values, dated, seasonal=not chance.happens(0.08))


def _water(chance: Chance, layout: str) -> Iterator[Place]:
    probes = layout == LEAN and chance.happens(0.35)
    if not probes:
        yield Place("chamber", "float chamber", "float_chamber", "float_chamber")
    on = () if probes else ("chamber",)
    yield Place("upper", "upper cutoff", "upper_cutoff", "probe_cutoff" if probes else "float_cutoff", on)
    yield Place("lower", "lower cutoff", "lower_cutoff", "probe_cutoff")
    if layout == WHOLE or chance.happens(0.25):
        yield Place("glass", "gauge glass", "gauge_glass", "gauge_glass")
    yield Place("feeder", "water feeder", "feeder", "feeder" if layout == LEAN else "feed_pump")
    yield Place("meter", "make-up meter", "makeup_meter", "makeup_meter")
    if layout == WHOLE:
        yield Place("try-cocks", "try cocks", "try_cocks", "try_cocks")
        yield Place("backflow", "backflow preventer", "backflow_preventer", "backflow_preventer")
        yield Place("receiver", "condensate receiver", "condensate_receiver", "condensate_receiver")
        yield Place("body", "boiler sections", "boiler_body", "boiler_body")


def _pressure(chance: Chance, output: float, layout: str) -> Iterator[Place]:
    two = layout == WHOLE or chance.happens(0.45)
    limit_on = "siphon-2" if two else "siphon-1"
    yield Place("siphon-1", "control siphon" if two else "siphon", "siphon", "siphon")
    if two:
        yield Place("siphon-2", "limit siphon", "siphon", "siphon")
    ladder = {"cut_in_psi": 0.5, "cut_out_psi": 1.5, "differential_psi": 1.0}
    yield Place("control", "operating control", "operating_control", "operating_control", ("siphon-1",), ladder)
    limit = {"set_psi": chance.one_of((7.0, 8.0, 8.0, 9.0))}
    yield Place("limit", "high limit", "high_limit", "limit_control", (limit_on,), limit)
    yield Place("gauge", "steam gauge", "gauge", "gauge", (limit_on,), {"range_psi": 30.0})
    valves = ("valve", "valve-2") if output > 1_300_000 else ("valve",)
    for ref in valves:
        stamp = {"set_psi": 15.0, "capacity_lb_h": float(round(output / LB_H_BTU * 1.15 / len(valves)))}
        name = {"valve": "safety valve", "valve-2": "second safety valve"}[ref]
        yield Place(ref, name, "safety_valve", "safety_valve", (), stamp)


def _fire(chance: Chance, fuel: str, output: float, layout: str) -> Iterator[Place]:
    yield Place("circuit", "limit circuit", "limit_circuit", "limit_circuit")
    plate = {"input_btu_h": float(round(output * 1.25, -4))}
    yield Place("burner", "burner", "burner", "burner", (), plate)
    yield Place("flame", "flame safeguard", "flame_safeguard", "flame_safeguard", (), {"flame_failure_s": 4.0})
    if layout == LEAN:
        return
    yield Place("fuel", "fuel shut-off valves", "fuel_valves", "fuel_valve")
    yield Place("spill", "spill switch", "spill_switch", "spill_switch")
    yield Place("rollout", "roll-out switch", "rollout_switch", "rollout_switch")
    yield Place("alarm", "carbon monoxide alarm", "co_alarm", "co_alarm")
    yield Place("air-switch", "air proving switch", "air_proving", "air_proving_switch")
    if fuel != "oil_2":
        yield Place("gas-low", "low gas pressure switch", "gas_pressure_switch", "gas_pressure_low_switch")
    yield Place("switch", "emergency switch", "emergency_switch", "emergency_switch")
    yield Place("cock", "manual fuel cock", "manual_fuel_cock", "manual_fuel_cock")
    yield Place("draft", "draft control", "draft_control", "draft_control")
    yield Place("vent", "vent", "vent", "vent")
    yield Place("air", "combustion air opening", "combustion_air", "air_opening")


COLUMNS = (
    "building_ref", "address", "zone", "units", "access_hours", "boiler_ref", "boiler_name", "since", "output_btu_h",
    "lowest_safe_line_in", "normal_line_in", "fuel", "construction", "firing", "heats", "cutoffs_needed",
    "cutoffs_rule", "position_ref", "position_name", "role", "hangs_on", "kind", "fitted_on", "cut_in_psi",
    "cut_out_psi", "differential_psi", "set_psi", "range_psi", "capacity_lb_h", "input_btu_h", "flame_failure_s",
    "end_of_life",
)  # fmt: skip


def sheet(houses: Sequence[House], since: date, until: date) -> str:
    """Return the boilers that came on record from `since` to before `until` as a CSV sheet, one row per place.

    Places shared by a header group are left out.
    """
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\n")
    writer.writeheader()
    for house in houses:
        for boiler in house.boilers:
            if since <= boiler.since < until:
                writer.writerows(_row(house, boiler, p) for p in boiler.places.values() if not p.shared)
    return out.getvalue()


def _row(house: House, boiler: Boiler, place: Place) -> Mapping[str, object]:
    day = place.fitted_on if place.kind else None
    return {
        "building_ref": house.ref,
        "address": house.address,
        "zone": ZONE,
        "units": house.units,
        "access_hours": house.access_hours,
        "boiler_ref": boiler.ref,
        "boiler_name": boiler.name,
        "since": boiler.since.isoformat(),
        **{k: _cell(v) for k, v in boiler.values.items()},
        "position_ref": place.ref,
        "position_name": place.name,
        "role": place.role,
        "hangs_on": "|".join(place.hangs_on),
        "kind": place.kind,
        "fitted_on": day.isoformat() if day else "",
        **{k: _cell(v) for k, v in place.values.items()},
    }


def _cell(value: Value) -> str:
    return f"{value:.10g}" if isinstance(value, float) else str(value)
