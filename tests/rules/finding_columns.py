"""What each column of findings.csv decides, seen by playing it: one small story a column, told of one finding.

Each story returns what came of it. `EXPECTED` says by hand what must come of it for every finding, and shares nothing
with the catalogue: a cell that changes unseen makes a story end otherwise.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from fleet.rules.catalogue import Catalogue
from fleet.rules.findings.fire_side import find_joined_dangers
from fleet.rules.findings.gauge_doubts import doubt_readings_of
from fleet.rules.findings.history import _find_repeats
from fleet.rules.ledger import effects
from fleet.rules.ledger.episodes import EpisodeCase
from fleet.rules.ledger.records import GradingBench, PositionRecord, ReplayLedger
from fleet.rules.replay.evidence_replay import _apply_data_faults, replay_evidence
from fleet.rules.values import EntryFact, PositionFact, VisitFact
from tests.rules.build import at, ident
from tests.rules.plant import MORE, PROVES, Plant

EVERYBODY = frozenset(
    {"operator", "technician", "fire_side", "valve_shop", "inspector", "utility", "gas_train", "backflow_tester"}
)
FOUND_BY = "slow_drain"  # the test that finds it, where the row names no procedure that closes it
PLACES = ("upper", "lower", "control", "limit", "valve", "siphon_a", "chamber", *(m[0] for m in MORE))

NEEDS_CAUSE = {
    "contradiction",
    "glass_empty_off",
    "light_off_bang",
    "reset_unqualified",
    "lockout_cause",
    "lockouts_without_cause",
    "repeat_routine",
    "repeat_urgent",
    "resets_flame",
    "resets_without_cause",
    "room_flooded",
    "trouble_told",
    "water_carried_over",
    "water_hammer",
    "water_surging",
}
REPEATS = {"repeat_routine", "repeat_urgent"}
MAKEUP = {"makeup_rising", "makeup_rising_again"}
WEAR = {"burner_adjust", "co_adjust", "flush_dirty", "probe_scaled"}
WATER_AND_STEAM = {"room_flooded", "steam_without_heat", "water_carried_over", "water_hammer", "water_surging"}
TOLD = {"trouble_told"}
AIR_OR_VENT = {"combustion_air_blocked", "vent_blocked", "vent_loose"}
FLUE_GAS = {"ambient_co", "ambient_co_raised", "co_high", "flue_gas_spills", "spill_tripped_found"}
SOOT = {"soot_seen", "soot_with_flue_gas"}
LADDER = {
    "ladder_cut_in",
    "ladder_limit_at_cut_out",
    "ladder_limit_at_valve",
    "ladder_limit_gap",
    "ladder_operating_gap",
    "ladder_over_fifteen",
}
PATTERNS = {
    "contradiction",
    "light_off_bang",
    "firing_while_off",
    "reset_unqualified",
    "lockouts_without_cause",
    "resets_flame",
    "resets_without_cause",
    *REPEATS,
    *MAKEUP,
}
EXPECTED: dict[str, set[str]] = {
    "closes without a cause": NEEDS_CAUSE | MAKEUP,
    "closes without a manager's name": REPEATS | MAKEUP,
    "is answered without work": {"capacity_unknown", "flooded", "flue_gas_spills", "jumper_left", "rough_light_off"}
    | SOOT
    | LADDER
    | MAKEUP,
    "closes by its test": MAKEUP,
    "closes by another proof in its place": {"contradiction", *REPEATS},
    "closes when its empty place is no longer needed": {"not_fitted", "not_fitted_last_line"},
    "is a repeat when found again": WEAR | WATER_AND_STEAM | TOLD | PATTERNS,
    "puts what the gauge read in doubt": {"gauge_off", "gauge_zero_with_steam", "siphon_plugged"},
    "is worse with flue gas in the room": {*AIR_OR_VENT, "soot_seen"},
    "is worse with the vent at fault": {*FLUE_GAS, "soot_seen"},
    "is worse with soot": AIR_OR_VENT | FLUE_GAS,
}
# Of these the codes above are those of which it is not so; of the others those of which it is.
NEGATED = {
    "closes without a cause",
    "closes without a manager's name",
    "is answered without work",
    "closes by its test",
    "is a repeat when found again",
}


@dataclass
class Scene:
    """One open finding on a boiler that was proven in full the day before."""

    ledger: ReplayLedger
    record: PositionRecord
    case: EpisodeCase
    entry: EntryFact

    def passes(self, code: str, record: PositionRecord | None = None) -> None:
        """Somebody who may do everything passes a test there, a day later, and looks for what was found."""
        ledger, record = self.ledger, record or self.record
        specs = ledger.catalogue.procedures[code].readings.values()
        readings = {s.name: False for s in specs if s.finding == self.case.rule.code}
        entry = EntryFact(ident("pass"), 0, "test", code, record.position.id, at(3), outcome="pass", readings=readings)
        bench = GradingBench(_visit(entry), entry, ledger.catalogue.procedures[code], record, ledger)
        assert effects.apply_pass(bench, "full", frozenset())

    @property
    def closed(self) -> bool:
        """Whether it is closed."""
        return not self.case.is_open


def _visit(entry: EntryFact) -> VisitFact:
    return VisitFact(ident("visit"), "follow_up", entry.at, entry.at, (entry,), EVERYBODY)


def ledger_with(catalogue: Catalogue) -> ReplayLedger:
    """The ledger after a service visit, read by this catalogue."""
    return replay_evidence(replace(Plant().service().evidence(), catalogue=catalogue)).ledger


def place_of(ledger: ReplayLedger, code: str) -> tuple[PositionRecord, str]:
    """Where the finding stands, and the test that answers it."""
    rule = ledger.catalogue.findings[code]
    for procedure in sorted(rule.clears_by) or [FOUND_BY]:
        for ref in PLACES:
            record = ledger.records[ident(ref)]
            if record.kind in ledger.catalogue.procedures[procedure].kinds:
                return record, procedure
    # The cast has no such device: the vent's place gets one.
    record, procedure = ledger.records[ident("vent")], min(rule.clears_by)
    record.kind = min(ledger.catalogue.procedures[procedure].kinds)
    return record, procedure


def scene(catalogue: Catalogue, code: str, *, work: bool = True, cause: bool = True, manager: bool = True) -> Scene:
    """The finding open, and of what may be asked before it closes all that is not left out."""
    ledger = ledger_with(catalogue)
    record, _ = place_of(ledger, code)
    entry = EntryFact(ident("find"), 0, "test", FOUND_BY, record.position.id, at(1), outcome="fail")
    case = effects.open_case(ledger, code, record, entry, "Found.")
    if work:
        case.acted_at = at(2)
    case.cause_known, case.manager = cause, "Ines Halloway" if manager else ""
    return Scene(ledger, record, case, entry)


def closes_without_a_cause(catalogue: Catalogue, code: str) -> bool:
    """Repaired and tested, the manager's name there, but nobody said why."""
    return _closed_by_its_test(scene(catalogue, code, cause=False))


def closes_without_a_manager(catalogue: Catalogue, code: str) -> bool:
    """Repaired, explained and tested, but nobody of the owner's side stands by it."""
    return _closed_by_its_test(scene(catalogue, code, manager=False))


def answered_without_work(catalogue: Catalogue, code: str) -> bool:
    """Tested and explained with nothing done: a pass counts toward it, or says nothing of it."""
    story = scene(catalogue, code, work=False)
    return _closed_by_its_test(story) or story.case.passes > 0


def closes_by_its_test(catalogue: Catalogue, code: str) -> bool:
    """Everything that may be asked is there."""
    return _closed_by_its_test(scene(catalogue, code))


def _closed_by_its_test(story: Scene) -> bool:
    story.passes(place_of(story.ledger, story.case.rule.code)[1])
    return story.closed


def closes_by_another_proof(catalogue: Catalogue, code: str) -> bool:
    """A full proof passes in its place that is neither named by the row nor the test that found it."""
    ledger = ledger_with(catalogue)
    rule = ledger.catalogue.findings[code]
    for ref in ("siphon_a", "valve", "glass", "limit", "circuit"):
        record = ledger.records[ident(ref)]
        full = PROVES.get(ref) or {"siphon_a": "siphon_check", "valve": "lever_lift", "limit": "limit_trip"}[ref]
        if not any(ledger.catalogue.procedures[full].covers_or_is(c) for c in rule.clears_by):
            break
    entry = EntryFact(ident("find"), 0, "test", FOUND_BY, record.position.id, at(1), outcome="fail")
    case = effects.open_case(ledger, code, record, entry, "Found.")
    case.acted_at, case.cause_known, case.manager = at(2), True, "Ines Halloway"
    story = Scene(ledger, record, case, entry)
    story.passes(full)
    return story.closed


def closes_unneeded(catalogue: Catalogue, code: str) -> bool:
    """Brought by the data alone; then the place is empty, and another of its role makes that nobody needs it."""
    story = scene(catalogue, code)
    story.case.by_data, story.case.acted_at = True, None
    other = PositionFact(ident("other"), "other", "other place", story.record.role.code)
    story.ledger.records[other.id] = replace(story.record, position=other, cases=[], live=[])
    story.record.device, story.record.needed = None, False
    _apply_data_faults(story.ledger, at(3), None)
    return story.closed


def repeats(catalogue: Catalogue, code: str) -> bool:
    """Closed, and found again on the same device a month later."""
    story = scene(catalogue, code)
    story.case.closed_at = at(2)
    again = replace(story.entry, id=ident("again"), at=at(32))
    effects.open_case(story.ledger, code, story.record, again, "Found again.")
    return any(True for _ in _find_repeats(again, story.record))


def doubts_the_gauge(catalogue: Catalogue, code: str) -> bool:
    """Found at the gauge: what the limit's trip was read by."""
    ledger = ledger_with(catalogue)
    gauge, limit = ledger.records[ident("gauge")], ledger.records[ident("limit")]
    gauge.checked, gauge.fitted_order, gauge.fitted_at = None, -1, at(-30)
    seen = EntryFact(ident("seen"), 0, "observe", "", gauge.position.id, at(1))
    case = effects.begin_case(ledger, code, place=gauge, at=seen.at, entry=seen.id, sentence="Found.")
    doubt_readings_of(ledger, case, gauge, seen)
    return any(p.doubtful for p in limit.passes)


def worse_with(other: str) -> Callable[[Catalogue, str], bool]:
    """Return the story in which another finding is open when this one is found."""

    def story(catalogue: Catalogue, code: str) -> bool:
        ledger = ledger_with(catalogue)
        first = EntryFact(ident("first"), 0, "observe", "", None, at(1))
        second = EntryFact(ident("second"), 1, "observe", "", None, at(1.5))
        effects.open_case(ledger, other, None, first, "First.")
        effects.open_case(ledger, code, ledger.records[ident("burner")], second, "Second.")
        return any(True for _ in find_joined_dangers(ledger, second))

    return story


STORIES: dict[str, Callable[[Catalogue, str], bool]] = {
    "closes without a cause": closes_without_a_cause,
    "closes without a manager's name": closes_without_a_manager,
    "is answered without work": answered_without_work,
    "closes by its test": closes_by_its_test,
    "closes by another proof in its place": closes_by_another_proof,
    "closes when its empty place is no longer needed": closes_unneeded,
    "is a repeat when found again": repeats,
    "puts what the gauge read in doubt": doubts_the_gauge,
    "is worse with flue gas in the room": worse_with("spill_tripped_found"),
    "is worse with the vent at fault": worse_with("vent_loose"),
    "is worse with soot": worse_with("soot_seen"),
}
# What a presumption or a finding without a closing test cannot show: the loading of the catalogue refuses the cell.
NOT_SHOWN: dict[str, Callable[[Catalogue, str], bool]] = {
    "is a repeat when found again": lambda c, code: c.findings[code].fails == "presumed",
    "closes when its empty place is no longer needed": lambda c, code: not c.findings[code].clears_by,
    "is worse with the vent at fault": lambda c, code: code in ("vent_loose", "air_or_vent_with_co"),
    "is worse with flue gas in the room": lambda c, code: code in ("spill_tripped_found", "air_or_vent_with_co"),
    "is worse with soot": lambda c, code: code in ("soot_seen", "soot_with_flue_gas"),
}


def expected(story: str, code: str) -> bool:
    """What must come of a story for a finding."""
    return (code in EXPECTED[story]) != (story in NEGATED)


def unexpected(catalogue: Catalogue, code: str) -> Iterator[str]:
    """Yield the stories of one finding that end otherwise than they must."""
    for story, play in STORIES.items():
        not_shown = NOT_SHOWN.get(story)
        if not (not_shown and not_shown(catalogue, code)) and play(catalogue, code) != expected(story, code):
            yield story
