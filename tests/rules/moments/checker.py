"""A slow and naive reading of the domain: reasons why a boiler cannot be clear at a moment. It knows the story only."""

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from tests.rules.moments.story import DANGERS, Line, Place, Story, Visit

ZONE = ZoneInfo("America/New_York")
GRACE_DAYS = 60
# What every gas-fired boiler of this size with natural draft needs (domain, section 12), and what may be none here.
EVERY = (
    "upper_cutoff",
    "lower_cutoff",
    "gauge_glass",
    "operating_control",
    "high_limit",
    "safety_valve",
    "gauge",
    "siphon",
    "flame_safeguard",
    "fuel_valves",
    "limit_circuit",
    "burner",
)
ON_SIPHON = ("operating_control", "high_limit", "gauge")
MAY_BE_NONE = ("feeder", "float_chamber", "spill_switch", "combustion_air", "co_alarm")
PROTECTIONS = ("upper", "lower", "limit", "valve", "flame", "fuel", "spill", "alarm")
FULL_PROOF = {
    "upper": "slow_drain",
    "lower": "slow_drain",
    "limit": "limit_trip",
    "valve": "lever_lift",
    "flame": "flame_failure_test",
    "fuel": "fuel_valve_closure",
    "spill": "spill_switch_trip",
    "alarm": "co_alarm_test",
    "circuit": "limit_circuit_trip",
    "siphon_a": "siphon_check",
    "siphon_b": "siphon_check",
    "chamber": "chamber_open_inspect",
    "control": "operating_control_trip",
    "feeder": "feeder_check",
    "glass": "gauge_glass_inspect",
    "gas_low": "gas_pressure_low_trip",
    "gas_high": "gas_pressure_high_trip",
}
OPERATOR_PROOF = {"upper": "flush", "glass": "gauge_glass_blowdown"}
UNTOUCHING = ("jumper_removed",)


def objections(story: Story, at: datetime) -> Iterator[str]:
    """Yield every reason why nobody may call the boiler clear at `at`. None is all the naive checker can ask for."""
    done = [(v.time_of(n), v, line) for v in story.visits for n, line in enumerate(v.lines) if v.time_of(n) <= at]
    yield from _missing(story, at)
    yield from _unknown_of_devices(story, at)
    for place in story.places:
        if place.fitted <= at:
            yield from _unproven(place, [d for d in done if d[2].ref == place.ref], at)
    yield from _dangers(done)


Done = list[tuple[datetime, Visit, Line]]


def _missing(story: Story, at: datetime) -> Iterator[str]:
    """What is needed and has no place, or whose place is empty."""
    roles = {p.role for p in story.places if p.fitted <= at}
    for role in EVERY:
        if role not in roles:
            yield f"no {role} on record"
    for role in MAY_BE_NONE:
        if role not in roles and (role != "float_chamber" or any(p.kind == "float_cutoff" for p in story.places)):
            yield f"nobody said whether there is a {role}"
    for kind in ("gas_pressure_low_switch", "gas_pressure_high_switch"):
        if story.values.get("fuel") == "natural_gas" and not any(
            p.role == "gas_pressure_switch" and p.kind in (kind, "") for p in story.places if p.fitted <= at
        ):
            yield f"nobody said whether there is a {kind}"
    for key in ("construction", "fuel", "draft"):
        if key not in story.values:
            yield f"{key} not known"
    for place in story.places:
        counted_on = place.needed or place.role not in (*MAY_BE_NONE, "gas_pressure_switch")
        if place.fitted <= at and not place.kind and place.ref in PROTECTIONS and counted_on:
            yield f"the {place.ref} is not fitted"


def _unknown_of_devices(story: Story, at: datetime) -> Iterator[str]:
    """What nobody knows of a device that is there: its siphon, its set pressure, whether the valve carries the fire."""
    here = {p.ref: p for p in story.places if p.fitted <= at}
    for place in here.values():
        path = here.get(place.path)
        if place.kind and place.role in ON_SIPHON and (path is None or path.role != "siphon"):
            yield f"no siphon of the {place.ref} on record"
        if place.kind and place.ref in ("limit", "valve") and "set_psi" not in place.stamped:
            yield f"no set pressure of the {place.ref} on record"
    fire = max((float(p.stamped.get("input_btu_h", 0)) for p in here.values()), default=0.0)
    output = float(story.values.get("output_btu_h", 0))
    carried = sum(float(p.stamped.get("capacity_lb_h", 0)) for p in here.values())
    if max(output, fire if output < 0.6 * fire else 0.0) > 1000 * carried:
        yield "the valve does not carry the fire, or nobody knows what it carries"


def _unproven(place: Place, done: Done, at: datetime) -> Iterator[str]:
    """A place whose newest good full proof is missing, too old, or followed by bad news or a touch."""
    excused = not place.needed and place.role in (*MAY_BE_NONE, "gas_pressure_switch")
    if not place.kind or excused or place.ref not in FULL_PROOF:
        return
    code = FULL_PROOF[place.ref]
    proofs = [t for t, _, line in done if line.good and line.code == code]
    if not proofs:
        yield f"the {place.ref} never passed its {code}"
        return
    proved = max(proofs)
    if due_on(proved) <= at.astimezone(ZONE).date():
        yield f"the {code} of the {place.ref} of {proved} is due"
    for t, _, line in done:
        is_news = line.act in ("action", "replace") or (line.act == "test" and not line.good and line.outcome == "fail")
        if t > proved and is_news and line.code not in UNTOUCHING:
            yield f"the {place.ref} was {line.act} {line.code} after its proof"
    weekly = OPERATOR_PROOF.get(place.ref)
    if weekly:
        passed = [t for t, _, line in done if line.good and line.code in (weekly, *_covering(place.ref))]
        if not passed or (at.astimezone(ZONE).date() - max(passed).astimezone(ZONE).date()).days >= 7:
            yield f"the {weekly} of the {place.ref} is due"


def _covering(ref: str) -> tuple[str, ...]:
    return ("slow_drain",) if ref == "upper" else ("gauge_glass_inspect",)


def _dangers(done: Done) -> Iterator[str]:
    """A danger that was seen, and after it nobody qualified has been there."""
    codes = {code for _, code in DANGERS}
    for t, _, line in done:
        answered = any(later > t and "technician" in visit.who for later, visit, _ in done)
        if line.act == "observe" and line.code in codes and not answered:
            yield f"{line.code} of {t}, and nobody qualified since"


def due_on(proved: datetime) -> date:
    """When a yearly proof is due: the first 1 October at least six months after it, at most fifteen months."""
    day = proved.astimezone(ZONE).date()
    starts = [date(year, 10, 1) for year in range(day.year, day.year + 3)]
    start = next(s for s in starts if _months_after(day, 6) <= s)
    return min(start, _months_after(day, 15))


def _months_after(day: date, months: int) -> date:
    year, month = divmod(day.month - 1 + months, 12)
    first = date(day.year + year, month + 1, 1)
    last = (first.replace(day=28) + timedelta(days=4)).replace(day=1) - timedelta(days=1)
    return date(first.year, first.month, min(day.day, last.day))


def objections_to_visit(story: Story, visit: Visit) -> Iterator[str]:
    """Yield every reason why nobody may say that a visit found nothing against firing the boiler."""
    end = visit.time_of(len(visit.lines) - 1)
    if "technician" not in visit.who:
        yield "nobody qualified was there"
    if not visit.checks:
        yield "the leaving checks were not answered"
    done = [(v.time_of(n), v, line) for v in story.visits for n, line in enumerate(v.lines) if v.time_of(n) <= end]
    for place in story.places:
        if place.fitted <= end:
            here = [d for d in done if d[2].ref == place.ref]
            yield from (told for told in _unproven(place, here, end) if not told.endswith("is due"))
            if not place.kind and place.needed and place.ref in PROTECTIONS:
                yield f"the {place.ref} is not fitted"
    yield from _dangers(done)
    if visit.kind in ("annual_service", "season_start"):
        yield from _missing(story, end)
