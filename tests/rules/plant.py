"""The second cast of the rules' tests: the same boiler with its glass, feeder, gauge and fire side."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from fleet.rules.catalogue import ReadingSpec
from fleet.rules.values import EntryFact, Evidence, FittingFact, PositionFact, SettingFact, Value
from tests.rules.build import CAST, FITTED, GOOD, LEFT_RIGHT, START, Boiler, catalogue, good, ident
from tests.rules.build import proof as small_proof

# ref, name, role, kind, paths, what is stamped on it
MORE: tuple[tuple[str, str, str, str, tuple[str, ...], Mapping[str, Value]], ...] = (
    ("glass", "gauge glass", "gauge_glass", "gauge_glass", (), {}),
    ("body", "boiler body", "boiler_body", "boiler_body", (), {}),
    ("feeder", "feeder", "feeder", "feeder", ("chamber",), {}),
    ("meter", "make-up meter", "makeup_meter", "makeup_meter", (), {}),
    ("gauge", "gauge", "gauge", "gauge", ("siphon_a",), {"range_psi": 30.0}),
    ("circuit", "limit circuit", "limit_circuit", "limit_circuit", (), {}),
    ("flame", "flame safeguard", "flame_safeguard", "flame_safeguard", ("circuit",), {"flame_failure_s": 4.0}),
    ("fuel", "fuel valves", "fuel_valves", "fuel_valve", (), {}),
    ("burner", "burner", "burner", "burner", (), {"input_btu_h": 1_000_000.0}),
    ("spill", "spill switch", "spill_switch", "spill_switch", ("circuit",), {}),
    ("vent", "vent", "vent", "vent", (), {}),
    ("air", "combustion air", "combustion_air", "air_opening", (), {}),
    ("alarm", "carbon monoxide alarm", "co_alarm", "co_alarm", (), {}),
)
CONTROLS = ("upper", "lower", "control", "limit")  # all on the limit circuit too

PROVES = {
    "feeder": "feeder_check",
    "glass": "gauge_glass_inspect",
    "gauge": "gauge_comparison",
    "circuit": "limit_circuit_trip",
    "flame": "flame_failure_test",
    "fuel": "fuel_valve_closure",
    "burner": "combustion_test",
    "spill": "spill_switch_trip",
    "vent": "vent_inspection",
    "air": "combustion_air_check",
    "alarm": "co_alarm_test",
    "body": "leak_check",
}


def _good(spec: ReadingSpec, stamped: Mapping[str, Value]) -> Value:
    rule = spec.rule
    if spec.type == "bool":
        return rule is None or rule.words == ("yes",)
    if spec.type == "choice":
        return rule.words[0] if rule else spec.choices[0]
    if rule is None:
        return 0.0 if spec.low is not None and spec.low <= 0 else spec.low
    return stamped.get(rule.key) if rule.key else rule.number


def proof(ref: str, code: str = "", outcome: str = "pass", **readings: Value) -> EntryFact:
    """A test with good readings, but for those given; None leaves one out."""
    if ref not in {m[0] for m in MORE} and (not code or code in (*GOOD, "evaporation")):
        return small_proof(ref, code, outcome, **readings)
    code = code or PROVES[ref]
    stamped = next((c[5] for c in (*CAST, *MORE) if c[0] == ref), {})
    specs = catalogue().procedures[code].readings.values()
    told = good(code, ref) if code in GOOD else {s.name: _good(s, stamped) for s in specs if s.required}
    if code == "combustion_test":
        told |= {"co_ppm": 20.0, "o2_pct": 5.0, "co_trend": "steady", "ambient_co_ppm": 0.0}
    taken = {k: v for k, v in (told | readings).items() if v is not None}
    return EntryFact(START_ID, 0, "test", code, ident(ref), START, outcome=outcome, readings=taken)


START_ID = ident("unnumbered")


def look(ref: str | None, code: str, **readings: Value) -> EntryFact:
    """Something seen, of a place or of the boiler as a whole, with what the burner did meanwhile."""
    return EntryFact(START_ID, 0, "observe", code, ident(ref) if ref else None, START, readings=readings)


def fit(ref: str, **stamped: Value) -> EntryFact:
    """A new device of the same kind in the same place."""
    kind = next(c[3] for c in (*CAST, *MORE) if c[0] == ref)
    return EntryFact(
        START_ID, 0, "replace", "", ident(ref), START, device=ident(f"new {ref}"), kind=kind, values=stamped
    )


@dataclass
class Plant(Boiler):
    """14 Larkspur Row: every position that a finding may rest on, the four controls on one limit circuit."""

    def __post_init__(self) -> None:
        super().__post_init__()
        # The burner's input is on record, so the valve's stamp must be too.
        self.settings.append(SettingFact(ident("valve"), "capacity_lb_h", 2_000.0, FITTED))
        for ref, _, _, kind, paths, stamped in MORE:
            self.fittings.append(FittingFact(ident(ref), ident(f"first {ref}"), kind, FITTED, stamped))
            if paths:
                self.settings.append(SettingFact(ident(ref), "paths", tuple(map(ident, paths)), FITTED))
        self.settings = [s for s in self.settings if s.position not in set(map(ident, CONTROLS))]
        inputs = {c[0]: c[4] for c in CAST}
        for ref in CONTROLS:
            paths = tuple(ident(p) for p in (inputs[ref], "circuit") if p)
            self.settings.append(SettingFact(ident(ref), "paths", paths, FITTED))

    def service(self, days: float = 0.0) -> "Plant":
        """A visit that proves everything, fire side included, and leaves everything right."""
        first = [small_proof(c[0]) for c in CAST]
        self.visit(days, *first, *map(proof, PROVES), who="technician|fire_side|gas_train", leave=LEFT_RIGHT)
        return self

    def evidence(self) -> Evidence:
        """Everything so far."""
        more = tuple(PositionFact(ident(ref), ref, name, role) for ref, name, role, *_ in MORE)
        whole = super().evidence()
        return replace(whole, positions=(*whole.positions, *more))
