"""Random registers and stories of one boiler as plain values: whole houses with something left out or spoiled."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from random import Random

Reading = bool | float | str
START = datetime(2025, 9, 1, 12, tzinfo=UTC)
DAY = timedelta(days=1)


@dataclass(frozen=True)
class Place:
    """A place of the register with its device; `kind` '' is an empty place."""

    ref: str
    role: str
    kind: str
    path: str = ""
    stamped: Mapping[str, Reading] = field(default_factory=dict)
    needed: bool = True
    fitted: datetime = START


@dataclass(frozen=True)
class Line:
    """One line of a visit. `good` says that it was made as a good test by somebody who may give it."""

    act: str
    code: str
    ref: str
    outcome: str = ""
    readings: Mapping[str, Reading] = field(default_factory=dict)
    good: bool = False


@dataclass(frozen=True)
class Visit:
    """People at the boiler, once. A minute lies between its lines."""

    at: datetime
    kind: str
    who: frozenset[str]
    lines: tuple[Line, ...]
    left_as: str = ""
    checks: bool = False

    def time_of(self, number: int) -> datetime:
        """When a line was done."""
        return self.at + timedelta(minutes=number)


@dataclass(frozen=True)
class Story:
    """A register, what was posted of the boiler as a whole, and its visits."""

    values: Mapping[str, Reading]
    places: tuple[Place, ...]
    visits: tuple[Visit, ...]
    end: datetime


WHOLE = (
    Place("chamber", "float_chamber", "float_chamber"),
    Place("upper", "upper_cutoff", "float_cutoff", "chamber", {"reset": "auto"}),
    Place("lower", "lower_cutoff", "probe_cutoff", "", {"reset": "manual"}),
    Place("siphon_a", "siphon", "siphon"),
    Place("siphon_b", "siphon", "siphon"),
    Place("control", "operating_control", "operating_control", "siphon_a", {"cut_in_psi": 1.0, "cut_out_psi": 2.0}),
    Place("limit", "high_limit", "limit_control", "siphon_b", {"reset": "manual", "set_psi": 8.0}),
    Place("valve", "safety_valve", "safety_valve", "", {"set_psi": 15.0, "capacity_lb_h": 1700.0}),
    Place("glass", "gauge_glass", "gauge_glass"),
    Place("feeder", "feeder", "feeder"),
    Place("gauge", "gauge", "gauge", "siphon_a", {"range_psi": 30.0}),
    Place("flame", "flame_safeguard", "flame_safeguard", "circuit", {"reset": "manual", "flame_failure_s": 4.0}),
    Place("fuel", "fuel_valves", "fuel_valve"),
    Place("circuit", "limit_circuit", "limit_circuit"),
    Place("burner", "burner", "burner", "", {"input_btu_h": 1_250_000.0}),
    Place("spill", "spill_switch", "spill_switch", "circuit"),
    Place("gas_low", "gas_pressure_switch", "gas_pressure_low_switch", "circuit"),
    Place("gas_high", "gas_pressure_switch", "gas_pressure_high_switch", "circuit"),
    Place("air", "combustion_air", "air_opening"),
    Place("alarm", "co_alarm", "co_alarm", "", {"end_of_life": "2031-01-01"}),
)
VALUES: Mapping[str, Reading] = {
    "output_btu_h": 1_000_000.0,
    "construction": "cast_iron",
    "fuel": "natural_gas",
    "draft": "natural",
}
_STOPS: Mapping[str, Reading] = {"burner_firing": True, "burner_stopped": True}
GOOD: tuple[tuple[str, str, Mapping[str, Reading]], ...] = (
    ("chamber", "chamber_open_inspect", {"found_clean": True}),
    ("siphon_a", "siphon_check", {"passes_water": True}),
    ("siphon_b", "siphon_check", {"passes_water": True}),
    (
        "glass",
        "gauge_glass_inspect",
        {"readable": True, "cocks_turn_and_open": True, "water_returns": "prompt", "tight": True},
    ),
    ("glass", "gauge_glass_blowdown", {"water_returns": "prompt", "both_cocks_clear": True}),
    ("gauge", "gauge_comparison", {"test_gauge_psi": 6.0, "difference_psi": 0.0, "at_zero_open": True}),
    ("upper", "flush", {**_STOPS, "water": "runs", "recovery": "prompt", "sediment": "clear"}),
    ("upper", "slow_drain", {**_STOPS, "trip_in": 2.5}),
    ("lower", "slow_drain", {**_STOPS, "trip_in": 1.0, "locked_out": True}),
    ("control", "operating_control_trip", {"trip_psi": 2.0, "cycles": 3.0}),
    ("control", "three_cycles", {"cycles": 3.0, "cut_out_seen": True, "cut_in_seen": True}),
    (
        "limit",
        "limit_trip",
        {
            "trip_psi": 7.8,
            "stayed_off_minutes": 4.0,
            "psi_when_checked": 2.1,
            "call_on": True,
            "restarted_by_hand": True,
            "set_psi_read_back": 8.0,
        },
    ),
    ("valve", "lever_lift", {"gauge_psi": 6.0, "lifted": True, "discharged": True, "after_lift": "tight"}),
    ("feeder", "feeder_check", {"feeds_when_low": True, "stops_at_line": True, "tight_when_off": True}),
    (
        "flame",
        "flame_failure_test",
        {"burner_firing": True, "fuel_shut": True, "seconds_to_shut": 3.0, "locked_out": True},
    ),
    ("fuel", "fuel_valve_closure", {"burner_firing": True, "closed": True, "flame_out": True}),
    ("fuel", "fuel_valve_leak_test", {"within_makers_limit": True}),
    ("circuit", "limit_circuit_trip", {**_STOPS, "switch_opened": True, "fuel_shut": True}),
    ("spill", "spill_switch_trip", {**_STOPS, "stayed_out_until_reset": True}),
    ("gas_low", "gas_pressure_low_trip", {**_STOPS, "setting_read_back": True}),
    ("gas_high", "gas_pressure_high_trip", {**_STOPS, "setting_read_back": True}),
    ("burner", "soap_test", {"bubbles": False, "smell": False}),
    (
        "burner",
        "combustion_test",
        {
            "burner_firing": True,
            "o2_pct": 6.0,
            "co_ppm": 20.0,
            "co_trend": "steady",
            "stack_f": 380.0,
            "room_f": 70.0,
            "ambient_co_ppm": 2.0,
        },
    ),
    ("burner", "normal_restart", {"lit_by_its_controls": True, "lit_smoothly": True, "stopped_by_its_control": True}),
    ("air", "combustion_air_check", {"open": True}),
    ("alarm", "co_alarm_test", {"sounds": True, "in_date": True}),
)
# One reading that makes each of these tests fail.
SPOILED: Mapping[str, tuple[str, Reading]] = {
    "siphon_check": ("passes_water", False),
    "gauge_glass_inspect": ("readable", False),
    "gauge_comparison": ("difference_psi", 3.0),
    "flush": ("burner_stopped", False),
    "slow_drain": ("burner_stopped", False),
    "operating_control_trip": ("trip_psi", 7.6),
    "limit_trip": ("trip_psi", 14.0),
    "lever_lift": ("lifted", False),
    "feeder_check": ("tight_when_off", False),
    "flame_failure_test": ("fuel_shut", False),
    "fuel_valve_closure": ("closed", False),
    "fuel_valve_leak_test": ("within_makers_limit", False),
    "limit_circuit_trip": ("fuel_shut", False),
    "spill_switch_trip": ("burner_stopped", False),
    "gas_pressure_low_trip": ("burner_stopped", False),
    "gas_pressure_high_trip": ("burner_stopped", False),
    "combustion_test": ("co_ppm", 900.0),
    "soap_test": ("bubbles", True),
    "co_alarm_test": ("sounds", False),
}
WEEKLY = (("upper", "flush"), ("glass", "gauge_glass_blowdown"), ("air", "combustion_air_check"))
TOUCHES = (
    ("chamber", "open_clean"),
    ("upper", "adjust"),
    ("lower", "open_clean"),
    ("limit", "adjust"),
    ("limit", "jumper_fitted"),
    ("upper", "jumper_fitted"),
    ("siphon_b", "clear"),
    ("valve", "repair"),
    ("flame", "disconnect"),
    ("fuel", "open_clean"),
    ("lower", "replace_part"),
    ("spill", "disconnect"),
)
# Each of these is open until somebody qualified has done something about it.
DANGERS = (
    ("", "gas_smell"),
    ("", "alarm_sounding"),
    ("glass", "glass_empty"),
    ("", "dry_fired"),
    ("glass", "glass_broken"),
    ("limit", "jumper_found"),
    ("limit", "lockout_found"),
    ("lower", "lockout_found"),
    ("spill", "spill_found_tripped"),
    ("siphon_a", "siphon_plugged"),
    ("valve", "valve_opened_under_pressure"),
    ("valve", "valve_blocked"),
    ("valve", "seal_broken"),
    ("", "leaking"),
    ("", "leaking_into_furnace"),
    ("", "tag_found_inspector"),
    ("circuit", "switch_opened_fuel_burned"),
    ("vent", "vent_blocked"),
)
TECHNICIAN = frozenset({"technician", "fire_side", "gas_train"})
OPERATOR = frozenset({"operator"})
NOBODY = frozenset[str]()


def make_story(seed: int) -> Story:
    """Make one story: a register, a full service soon after, weekly checks, troubles, and more services after them."""
    random = Random(seed)
    places = tuple(_place(random, p) for p in WHOLE if random.random() > 0.012)
    values = {k: v for k, v in VALUES.items() if random.random() > 0.02}
    refs = {p.ref for p in places if p.kind}
    end = START + random.randint(60, 500) * DAY
    first = START + random.randint(0, 20) * DAY + timedelta(hours=random.randint(0, 5))
    visits = [_service(random, refs, first)]
    day = first + 7 * DAY
    while day < end:
        if random.random() < 0.97:
            visits.append(_weekly(random, refs, day))
        if random.random() < 0.06:
            visits.append(_trouble(random, refs, day + timedelta(hours=2)))
            if random.random() < 0.6:
                visits.append(_service(random, refs, day + timedelta(days=1, hours=1)))
        elif random.random() < 0.02:
            visits.append(_service(random, refs, day + timedelta(hours=5)))
        day += random.choice((6, 7, 7, 7, 7, 7, 8)) * DAY
    return Story(values, places, tuple(v for v in visits if v.lines), end)


def _place(random: Random, place: Place) -> Place:
    """The place as the register has it: now and then empty, called not needed, or fitted later."""
    chance = random.random()
    if chance < 0.01:
        return Place(place.ref, place.role, "", place.path)
    needed = random.random() > 0.02
    fitted = START + random.randint(1, 200) * DAY if random.random() < 0.03 else START
    path = place.path if random.random() > 0.01 else ""
    stamped = {k: v for k, v in place.stamped.items() if random.random() > 0.01}
    if "input_btu_h" in stamped and random.random() < 0.05:
        stamped["input_btu_h"] = random.choice((1_600_000.0, 1_690_000.0, 1_800_000.0, 2_600_000.0))
    return Place(place.ref, place.role, place.kind, path, stamped, needed=needed, fitted=fitted)


def _service(random: Random, refs: set[str], at: datetime) -> Visit:
    """A service that proves all, but for a line left out or spoiled now and then."""
    lines = []
    who = NOBODY if random.random() < 0.02 else TECHNICIAN
    for ref, code, shows in GOOD:
        if ref not in refs or random.random() < 0.004:
            continue
        spoiled = random.random() < 0.004 and code in SPOILED
        readings = {**shows, **(dict([SPOILED[code]]) if spoiled else {})}
        lines.append(Line("test", code, ref, "pass", readings, good=bool(who) and not spoiled))
    kind = random.choice(("annual_service", "season_start", "follow_up"))
    return Visit(at, kind, who, tuple(lines), left_as="on_call", checks=random.random() > 0.05)


def _weekly(random: Random, refs: set[str], at: datetime) -> Visit:
    """A caretaker's round."""
    goods = {(ref, code): shows for ref, code, shows in GOOD}
    who = NOBODY if random.random() < 0.03 else OPERATOR
    lines = [
        Line("test", code, ref, "pass", goods[ref, code], good=bool(who))
        for ref, code in WEEKLY
        if ref in refs and random.random() > 0.02
    ]
    return Visit(at, "routine_check", who, tuple(lines))


def _trouble(random: Random, refs: set[str], at: datetime) -> Visit:
    """Something found, touched, failed or replaced, by anybody."""
    who = random.choice((TECHNICIAN, OPERATOR, NOBODY))
    kind = random.randint(0, 3)
    if kind == 0:
        ref, code = random.choice([d for d in DANGERS if d[0] in refs or not d[0]])
        line = Line("observe", code, ref)
    elif kind == 1:
        ref, code = random.choice([t for t in TOUCHES if t[0] in refs] or [("", "found_firing")])
        line = Line("action", code, ref) if ref else Line("observe", code, "")
    elif kind == 2:
        ref, code, shows = random.choice([g for g in GOOD if g[0] in refs and g[1] in SPOILED])
        line = Line("test", code, ref, "fail", {**shows, **dict([SPOILED[code]])})
    else:
        line = Line("replace", "", random.choice(sorted(refs)))
    return Visit(at, "follow_up", who, (line,), left_as=random.choice(("on_call", "off_locked", "")))
