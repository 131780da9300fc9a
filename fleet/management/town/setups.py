"""Houses of four and five stories with their boilers: plausible set-ups as rows of a register sheet."""

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta

from fleet.management.town.chance import Chance
from fleet.management.town.invented_names import STREETS, ZONE
from fleet.management.town.story_values import TownBoiler, TownHouse, TownMember, TownPlace, Value

DRAFTS = ("natural", "natural", "forced")
# What the registers of old houses leave out: nobody wrote it down when the boiler was put on record.
OFTEN_LEFT_OUT = ("gas-high", "gas-low", "glass", "fuel")
NO_ALARM: Mapping[str, Value] = {
    "needed": "no",
    "not_needed_because": "No dwelling opens on the boiler room: the owner, at the survey of 2019.",
}
DUCTED_AIR: Mapping[str, Value] = {
    "needed": "no",
    "not_needed_because": "The air comes through the burner's own duct: the installer's drawing of 2016.",
}
FUELS = ("natural_gas", "natural_gas", "natural_gas", "oil_2", "propane")
BTU_H_PER_UNIT = 34_000  # of a brick house of this age (common practice, wide)
BTU_H_PER_LB_H = 1000.0
ACCESS_HOURS = ("", "", "mon-fri 07:00-19:00; sat 08:00-14:00", "mon-sat 07:00-18:00")
WHOLE, LEAN = "whole", "lean"


def make_houses(
    chance: Chance, ref: str, people: Sequence[TownMember], count: int, today: date, years: float
) -> list[TownHouse]:
    """Return the houses of one property manager. Every third house has two boilers."""
    streets = chance.shuffle(STREETS)
    skilled = [m.username for m in people if m.role == "caretaker" and m.qualifications]
    caretakers = [m.username for m in people if m.role == "caretaker" and not m.qualifications]
    new_houses = []
    for n in range(count):
        caretaker = (
            (caretakers or skilled)[0] if n % 13 == 7 else skilled[n % len(skilled)]
        )  # a caretaker without qualification
        new_houses.append(
            _make_house(
                chance.branch(n),
                f"{ref[:2]}{n + 1:02}",
                n=n,
                streets=streets,
                caretaker=caretaker,
                today=today,
                years=years,
            )
        )
    return new_houses


def _make_house(
    chance: Chance, ref: str, n: int, streets: Sequence[str], caretaker: str, today: date, years: float
) -> TownHouse:
    units = 48 if n % 9 == 4 else chance.whole_number(14, 40)
    pair = n % 3 == 0
    since = today - timedelta(days=round(365.25 * years) + chance.whole_number(60, 400))
    address = f"{chance.whole_number(2, 140)} {streets[n % len(streets)]}"
    boilers = [
        _make_boiler(chance.branch(b), ref, number=b, units=units, since=since, n=n, pair=pair)
        for b in range(2 if pair else 1)
    ]
    if n % 15 == 6:  # a house with a separate boiler for hot water
        boilers[-1] = (
            replace(boilers[-1], name="Hot water boiler", seasonal=False, values={**boilers[-1].values, "heats": "no"})
            if pair
            else replace(boilers[-1], seasonal=False)
        )
    if n == 3:  # one make-up meter for both boilers
        first, second = boilers
        meter = replace(first.places["meter"], name="shared make-up meter", shared=True)
        boilers[0] = replace(first, places={**first.places, "meter": meter})
        boilers[1] = replace(second, places={k: v for k, v in second.places.items() if k != "meter"})
    return TownHouse(
        ref,
        address,
        units=units,
        access_hours=chance.one_of(ACCESS_HOURS),
        caretaker=caretaker,
        boilers=tuple(boilers),
        coordinates=_place_house(chance.branch("place")),
    )


def _place_house(chance: Chance) -> tuple[float, float]:
    """Return degrees north and east. The town is invented: it stands about three miles across in open water."""
    return round(40.5 + chance.random.uniform(0, 0.043), 4), round(-74.05 + chance.random.uniform(0, 0.057), 4)


def _make_boiler(chance: Chance, house: str, number: int, units: int, since: date, n: int, pair: bool) -> TownBoiler:
    output = float(round(units * BTU_H_PER_UNIT / (1.6 if pair else 1.0), -4))
    fuel = chance.one_of(FUELS)
    layout = WHOLE if (n + number) % 4 == 0 else LEAN
    draft = chance.one_of(DRAFTS)
    values: dict[str, Value] = {
        "output_btu_h": output,
        "lowest_safe_line_in": 1.0,
        "normal_line_in": 4.0,
        "fuel": fuel,
        "construction": chance.one_of(("cast_iron", "cast_iron", "firetube")),
        "firing": "oil_gas",
        "draft": draft,
    }
    places = [
        *_water_places(chance, layout),
        *_pressure_places(chance, output, layout),
        *_fire_places(chance, fuel, draft, output=output, layout=layout),
    ]
    left_out = chance.shuffle(OFTEN_LEFT_OUT)[: chance.whole_number(1, 3)] if (n + number) % 6 == 4 else ()
    fitted = since - timedelta(days=chance.whole_number(0, 1500))
    dated = {p.ref: replace(p, fitted_on=max(fitted, since)) for p in places if p.ref not in left_out}
    name = f"Boiler {number + 1}" if pair else "Boiler"
    return TownBoiler(
        house, f"B{number + 1}", name=name, since=since, values=values, places=dated, seasonal=not chance.happens(0.08)
    )


def _water_places(chance: Chance, layout: str) -> Iterator[TownPlace]:
    probes = layout == LEAN and chance.happens(0.35)
    if not probes:
        yield TownPlace("chamber", "float chamber", "float_chamber", "float_chamber")
    on = () if probes else ("chamber",)
    yield TownPlace(
        "upper", "upper cutoff", role="upper_cutoff", kind="probe_cutoff" if probes else "float_cutoff", hangs_on=on
    )
    yield TownPlace("lower", "lower cutoff", "lower_cutoff", "probe_cutoff")
    yield TownPlace("glass", "gauge glass", "gauge_glass", "gauge_glass")
    yield TownPlace("feeder", "water feeder", "feeder", "feeder" if layout == LEAN else "feed_pump")
    yield TownPlace("meter", "make-up meter", "makeup_meter", "makeup_meter")
    if layout == WHOLE:
        yield TownPlace("try-cocks", "try cocks", "try_cocks", "try_cocks")
        yield TownPlace("backflow", "backflow preventer", "backflow_preventer", "backflow_preventer")
        yield TownPlace("receiver", "condensate receiver", "condensate_receiver", "condensate_receiver")
        yield TownPlace("body", "boiler sections", "boiler_body", "boiler_body")


def _pressure_places(chance: Chance, output: float, layout: str) -> Iterator[TownPlace]:
    two = layout == WHOLE or chance.happens(0.45)
    limit_on = "siphon-2" if two else "siphon-1"
    yield TownPlace("siphon-1", "control siphon" if two else "siphon", "siphon", "siphon")
    if two:
        yield TownPlace("siphon-2", "limit siphon", "siphon", "siphon")
    ladder = {"cut_in_psi": 0.5, "cut_out_psi": 1.5, "differential_psi": 1.0}
    yield TownPlace(
        "control",
        "operating control",
        role="operating_control",
        kind="operating_control",
        hangs_on=("siphon-1",),
        values=ladder,
    )
    limit = {"set_psi": chance.one_of((7.0, 8.0, 8.0, 9.0))}
    yield TownPlace("limit", "high limit", role="high_limit", kind="limit_control", hangs_on=(limit_on,), values=limit)
    yield TownPlace(
        "gauge", "steam gauge", role="gauge", kind="gauge", hangs_on=(limit_on,), values={"range_psi": 30.0}
    )
    valves = ("valve", "valve-2") if output > 1_300_000 else ("valve",)
    for ref in valves:
        stamp = {"set_psi": 15.0, "capacity_lb_h": float(round(output / BTU_H_PER_LB_H * 1.15 / len(valves)))}
        name = {"valve": "safety valve", "valve-2": "second safety valve"}[ref]
        yield TownPlace(ref, name, role="safety_valve", kind="safety_valve", hangs_on=(), values=stamp)


def _fire_places(chance: Chance, fuel: str, draft: str, *, output: float, layout: str) -> Iterator[TownPlace]:
    yield TownPlace("circuit", "limit circuit", "limit_circuit", "limit_circuit")
    plate = {"input_btu_h": float(round(output * 1.25, -4))}
    yield TownPlace("burner", "burner", role="burner", kind="burner", hangs_on=(), values=plate)
    yield TownPlace(
        "flame",
        "flame safeguard",
        role="flame_safeguard",
        kind="flame_safeguard",
        hangs_on=(),
        values={"flame_failure_s": 4.0},
    )
    yield TownPlace("fuel", "fuel shut-off valves", "fuel_valves", "fuel_valve")
    if fuel != "oil_2":
        yield TownPlace("gas-low", "low gas pressure switch", "gas_pressure_switch", "gas_pressure_low_switch")
        yield TownPlace("gas-high", "high gas pressure switch", "gas_pressure_switch", "gas_pressure_high_switch")
        if draft == "natural" or layout == WHOLE:
            yield TownPlace("spill", "spill switch", "spill_switch", "spill_switch")
    elif layout == WHOLE:
        yield TownPlace("oil-low", "low oil pressure switch", "oil_pressure_switch", "oil_pressure_low_switch")
        yield TownPlace("low-draft", "low-draft switch", "low_draft_switch", "low_draft_switch")
    if draft == "forced" or layout == WHOLE:
        yield TownPlace("air-switch", "air proving switch", "air_proving", "air_proving_switch")
    if layout == LEAN:
        yield TownPlace("alarm", "carbon monoxide alarm", role="co_alarm", kind="", values=NO_ALARM)
        yield TownPlace("air", "combustion air opening", role="combustion_air", kind="", values=DUCTED_AIR)
        return
    yield TownPlace("alarm", "carbon monoxide alarm", "co_alarm", "co_alarm")
    yield TownPlace("rollout", "roll-out switch", "rollout_switch", "rollout_switch")
    yield TownPlace("switch", "emergency switch", "emergency_switch", "emergency_switch")
    yield TownPlace("cock", "manual fuel cock", "manual_fuel_cock", "manual_fuel_cock")
    yield TownPlace("draft", "draft control", "draft_control", "draft_control")
    yield TownPlace("vent", "vent", "vent", "vent")
    yield TownPlace("air", "combustion air opening", "combustion_air", "air_opening")


COLUMNS = (
    "building_ref", "address", "zone", "units", "access_hours", "latitude_deg", "longitude_deg", "boiler_ref",
    "boiler_name", "since", "output_btu_h", "lowest_safe_line_in", "normal_line_in", "fuel", "construction",
    "firing", "heats", "cutoffs_needed",
    "cutoffs_rule", "draft", "position_ref", "position_name", "role", "hangs_on", "needed", "not_needed_because",
    "kind", "fitted_on", "cut_in_psi",
    "cut_out_psi", "differential_psi", "set_psi", "range_psi", "capacity_lb_h", "input_btu_h", "flame_failure_s",
    "end_of_life",
)  # fmt: skip


def write_sheet(houses: Sequence[TownHouse], since: date, until: date) -> str:
    """Return the boilers that came on record from `since` to before `until` as a CSV sheet, one row per place.

    Places shared by a header group are left out.
    """
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\n")
    writer.writeheader()
    for house in houses:
        for boiler in house.boilers:
            if since <= boiler.since < until:
                writer.writerows(_sheet_row(house, boiler, p) for p in boiler.places.values() if not p.shared)
    return out.getvalue()


def _sheet_row(house: TownHouse, boiler: TownBoiler, place: TownPlace) -> Mapping[str, object]:
    day = place.fitted_on if place.kind else None
    return {
        "building_ref": house.ref,
        "address": house.address,
        "zone": ZONE,
        "units": house.units,
        "access_hours": house.access_hours,
        "latitude_deg": house.coordinates[0],
        "longitude_deg": house.coordinates[1],
        "boiler_ref": boiler.ref,
        "boiler_name": boiler.name,
        "since": boiler.since.isoformat(),
        **{k: _cell_text(v) for k, v in boiler.values.items()},
        "position_ref": place.ref,
        "position_name": place.name,
        "role": place.role,
        "hangs_on": "|".join(place.hangs_on),
        "kind": place.kind,
        "fitted_on": day.isoformat() if day else "",
        **{k: _cell_text(v) for k, v in place.values.items()},
    }


def _cell_text(value: Value) -> str:
    return f"{value:.10g}" if isinstance(value, float) else str(value)
