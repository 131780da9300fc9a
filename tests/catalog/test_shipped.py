"""The catalogue that comes with the code: whole, sourced, and asking for the readings that its graders read."""

import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pytest

from fleet.catalog.parse import read_release, rebuild_catalogue
from fleet.rules.catalogue import Catalogue
from fleet.rules.verdicts import FIRES, GRADERS, findings_fired_by
from tests.catalog.conftest import SHIPPED
from tests.rules.build import GOOD, Boiler
from tests.rules.test_verdicts_table import on_bench

CATALOGUE = read_release(SHIPPED, 1)[1]
PROCEDURES = sorted(CATALOGUE.procedures)


class Recording(dict[str, object]):
    """Readings that remember which of them were asked for."""

    def __init__(self, values: Mapping[str, object]) -> None:
        super().__init__(values)
        self.asked: set[str] = set()

    def get(self, name: str, default: object = None) -> object:  # type: ignore[override]
        self.asked.add(name)
        return super().get(name, default)


def _asked(code: str) -> set[str]:
    """What the grader of this procedure reads of a test whose readings are good."""
    bench = Boiler().bench(code) if code in GOOD else on_bench(code)
    given = Boiler().good(code, bench.record.position.ref) if code in GOOD else bench.entry.readings
    good = Recording(given)
    GRADERS[bench.procedure.judged_by](replace(bench, entry=replace(bench.entry, readings=good)))  # type: ignore[arg-type]
    return good.asked


def test_the_shipped_catalogue_parses() -> None:
    assert isinstance(CATALOGUE, Catalogue)
    assert len(CATALOGUE.hazards) == 5


def test_the_tables_hold_the_whole_trade() -> None:
    least = {"kinds": 32, "roles": 31, "procedures": 55, "findings": 80, "observations": 40, "variants": 15}
    counts = {name: len(getattr(CATALOGUE, name)) for name in least}
    assert {name for name in least if counts[name] < least[name]} == set()


def test_what_a_release_keeps_builds_the_same_catalogue_again() -> None:
    content, made = read_release(SHIPPED, 3)
    assert rebuild_catalogue(json.loads(json.dumps(content.as_json())), 3) == made


def test_the_digest_does_not_depend_on_how_the_file_was_written(folder: Path) -> None:
    before = read_release(folder, 1)[0].content_digest()
    table = folder / "hazards.csv"
    table.write_text(table.read_text().replace("Dry firing", ' "Dry firing" '.strip()).replace("\n", "\r\n"))
    assert read_release(folder, 1)[0].content_digest() == before


@pytest.mark.parametrize("procedure", [*GOOD, "evaporation", "combustion_test"])
def test_every_reading_that_a_grader_reads_is_in_the_catalogue(procedure: str) -> None:
    asked = _asked(procedure)
    assert asked <= CATALOGUE.procedures[procedure].readings.keys()


@pytest.mark.parametrize("procedure", [*GOOD, "evaporation", "combustion_test"])
def test_every_required_reading_of_a_coded_grader_is_read_by_it(procedure: str) -> None:
    required = {s.name for s in CATALOGUE.procedures[procedure].readings.values() if s.required}
    recorded_only = {"stack_f", "room_f"}  # told to people and kept for their trend
    assert required - recorded_only - {"trip_in", "cycles"} <= _asked(procedure)


def test_every_grader_has_its_list_of_rules() -> None:
    assert FIRES.keys() == GRADERS.keys()


def test_every_protection_has_a_full_proof_for_each_kind_that_may_fill_it() -> None:
    kinds = {k for r in CATALOGUE.roles.values() if r.part == "protection" for k in r.kinds}
    assert [k for k in kinds if not CATALOGUE.proofs_of_kind(k, "full")] == []


def test_no_operator_alone_may_give_a_full_proof() -> None:
    full = [p for p in CATALOGUE.procedures.values() if p.proof == "full"]
    assert [p.code for p in full if "operator" in p.who] == []


def test_a_test_button_is_no_proof() -> None:
    assert CATALOGUE.procedures["button_test"].proof == "none"


def test_every_hold_says_what_to_do_first() -> None:
    holds = [f for f in CATALOGUE.findings.values() if f.level == "hold"]
    assert [f.code for f in holds if len(f.first_act) < 40] == []


# Closed by something else than a test: a paper, a meter, a name, a correction.
BY_PAPER = {"tag_inspector", "tag_utility", "contradiction", "repeat_routine", "repeat_urgent"}
BY_PAPER |= {"makeup_rising", "makeup_rising_again"}


def test_every_finding_that_no_test_opens_names_what_clears_it() -> None:
    tested = {rule for p in CATALOGUE.procedures.values() for rule in findings_fired_by(p)}
    untold = {code for code, f in CATALOGUE.findings.items() if not f.clears_by} - tested
    assert untold == BY_PAPER | {"not_on_record", "past_service_life"}  # closed by the register, or by another device


def _can_clear(finding: str, kind: str) -> bool:
    named = CATALOGUE.findings[finding].clears_by
    own = [p for p in CATALOGUE.procedures.values() if kind in p.kinds]
    return not named or any(p.covers_or_is(code) for p in own for code in named)


def test_what_a_procedure_finds_can_be_cleared_on_each_kind_it_is_done_on() -> None:
    own = [(p, k, f) for p in CATALOGUE.procedures.values() for k in p.kinds for f in findings_fired_by(p)]
    # Put on the chamber, and cleared by the water test of the cutoff that sits in it.
    elsewhere = {"flush_no_water", "flush_slow_recovery", "flush_dirty", "chamber_fouled"}
    assert [(p.code, k, f) for p, k, f in own if f not in elsewhere and not _can_clear(f, k)] == []


def test_what_is_seen_on_a_role_can_be_cleared_there() -> None:
    seen = [(o, r) for o in CATALOGUE.observations.values() if o.finding for r in o.roles]
    before = {"lockout_found"}  # put on the rung before the one it is seen on
    kinds = [(o.code, r, k) for o, r in seen if o.code not in before for k in CATALOGUE.roles[r].kinds]
    assert [at for at in kinds if not _can_clear(CATALOGUE.observations[at[0]].finding, at[2])] == []


def test_every_touch_asks_for_a_proof_of_its_own_kind() -> None:
    for touch in CATALOGUE.touches.values():
        proofs = {
            p.code for sort in ("full", "due_only", "partial") for p in CATALOGUE.proofs_of_kind(touch.kind, sort)
        }
        proofs |= {p.code for p in CATALOGUE.procedures.values() if p.covers & proofs}
        assert frozenset().union(*touch.needs) <= proofs, touch


def test_an_opened_safety_valve_is_not_restored_by_a_lift() -> None:
    opened = CATALOGUE.touches["safety_valve", "open"], CATALOGUE.touches["safety_valve", "adjust"]
    assert not any("lever_lift" in group for touch in opened for group in touch.needs)


def test_every_protection_is_voided_by_every_touch_that_can_hurt_it() -> None:
    kinds = {k for r in CATALOGUE.roles.values() if r.part in ("protection", "output_path") for k in r.kinds}
    missing = {(k, t) for k in kinds for t in ("open", "disconnect") if (k, t) not in CATALOGUE.touches}
    assert missing == {("safety_valve", "disconnect")}  # taken down it is opened, or replaced


def test_every_kind_has_its_place_and_every_role_its_kinds() -> None:
    placed = {k for r in CATALOGUE.roles.values() for k in r.kinds}
    assert placed == CATALOGUE.kinds.keys()


def test_no_role_is_a_last_line_against_flue_gas_and_each_other_hazard_has_one() -> None:
    last = {r.hazard: r.code for r in CATALOGUE.roles.values() if r.last_line}
    wanted = {"dry_firing": "lower_cutoff", "over_pressure": "safety_valve", "fuel_not_shut": "fuel_valves"}
    assert last == wanted


@pytest.mark.parametrize("procedure", PROCEDURES)
def test_every_procedure_has_steps_a_caution_a_time_and_readings(procedure: str) -> None:
    told = CATALOGUE.procedures[procedure]
    assert len(told.steps) >= 3
    assert len(told.caution) > 30
    assert told.minutes > 0
    assert told.readings or told.judged_by == "button"


def test_what_is_shown_beside_a_verdict_fits_there() -> None:
    specs = [s for p in CATALOGUE.procedures.values() for s in p.readings.values()]
    assert [s.name for s in specs if len(s.accept) > 120] == []
    assert [p.code for p in CATALOGUE.procedures.values() if len(p.source) > 200] == []


def test_a_lift_wanted_more_often_makes_due_and_never_lapsed() -> None:
    lifts = [v for (code, _), v in CATALOGUE.variants.items() if code == "lever_lift"]
    assert [v.due_only for v in lifts] == [True, True, True]


def test_the_pair_that_can_not_both_be_true_is_told_once_and_in_a_sentence() -> None:
    pairs = [frozenset((c.first, c.second)) for c in CATALOGUE.contradictions]
    assert len(pairs) == len(set(pairs))
    assert [c.sentence for c in CATALOGUE.contradictions if not c.sentence.endswith(".")] == []


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("glass_empty_firing", "Shut the fuel off. Do NOT add water. Let it cool."),
        ("glass_empty_off", "Do NOT add water until the boiler is cool, and do not reset."),
        ("cutoff_below_trip", "Shut the fuel off by hand. Do not feed until the boiler is cool."),
        ("people_in_danger", "Get everybody out and call from outside. For a smell of gas touch no switch"),
    ],
)
def test_the_caution_comes_first(code: str, words: str) -> None:
    assert CATALOGUE.findings[code].first_act.startswith(words)


def test_what_one_alone_must_not_do_asks_for_two() -> None:
    # One at the glass and one at the valve; one outside the confined space.
    assert {c for c, p in CATALOGUE.procedures.items() if p.people == 2} == {"slow_drain", "internal_inspection"}
