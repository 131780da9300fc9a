"""Every planted fault refuses the whole catalogue, with file, line and column."""

from pathlib import Path

import pytest

from fleet.catalog.parse import read_release
from fleet.errors import Refused
from tests.catalog.edit import append, drop, line_of, places, swap

# file, start of the row, what stands there, what is planted, code, column
PLANTED = [
    ("hazards.csv", "dry_firing", "yes", "perhaps", "bad_value", "stops_firing"),
    ("kinds.csv", "siphon", "Siphon", "", "empty", "name"),
    ("kinds.csv", "siphon", ",S29", ",", "empty_source", "source"),
    ("kinds.csv", "siphon", "siphon", "float_chamber", "duplicate", "code"),
    ("kinds.csv", "float_cutoff", ",10,", ",0,", "bad_value", "life_years"),
    ("kinds.csv", "float_cutoff", ",10,", ",100,", "bad_value", "life_years"),
    ("kinds.csv", "float_cutoff", ",10,", ",ten,", "bad_value", "life_years"),
    ("kinds.csv", "float_cutoff", ",10,", ",,", "bad_value", "life_source"),
    ("kinds.csv", "siphon", "fitted_on,,", "fitted_on,9,", "bad_value", "life_source"),
    (
        "kinds.csv",
        "co_alarm",
        "common practice: the last day",
        "hearsay: the last day",
        "unknown_source",
        "life_source",
    ),
    ("kinds.csv", "float_cutoff", "reset|principle", "reset||principle", "bad_value", "attributes"),
    ("needed_roles.csv", "air_proving,", "draft=forced", "draft=forcd", "bad_value", "when"),
    ("needed_roles.csv", "lower_cutoff,", "cutoffs_needed=2", "cutoffs_needed=3", "bad_value", "when"),
    ("needed_roles.csv", "spill_or", "fuel=natural_gas", "fuel=gas", "bad_value", "when"),
    ("needed_roles.csv", "float_chamber,", "fitted=float_cutoff", "fitted=float_cutof", "unknown_reference", "when"),
    ("needed_roles.csv", "float_chamber,", "fitted=float", "fited=float", "bad_value", "when"),
    ("needed_roles.csv", "gas_pressure_low,", "input_from=400000", "input_from=4e5", "bad_value", "when"),
    ("roles.csv", "siphon", "over_pressure", "overpressure", "unknown_reference", "hazard"),
    ("roles.csv", "siphon", ",siphon,S29", ",sifon,S29", "unknown_reference", "kinds"),
    ("roles.csv", "high_limit", "protection", "guard", "bad_value", "part"),
    ("roles.csv", "high_limit", ",1,", ",one,", "bad_value", "order"),
    ("roles.csv", "high_limit", ",1,", ",-1,", "bad_value", "order"),
    ("procedures.csv", "flush", "1 w", "1 week", "bad_value", "interval"),
    ("procedures.csv", "flush", "1 w", "", "empty", "interval"),
    ("procedures.csv", "flush", "partial", "half", "bad_value", "proof"),
    ("procedures.csv", "flush", "operator|technician", "operator|janitor", "bad_value", "who"),
    ("procedures.csv", "flush", "operator|technician", "", "empty", "who"),
    ("procedures.csv", "slow_drain", "season", "year", "bad_value", "anchor"),
    ("procedures.csv", "slow_drain", "flush|button_test", "flush|push", "unknown_reference", "covers"),
    ("procedures.csv", "limit_trip", ",limit_trip,,20", ",limit_tip,,20", "unknown_grader", "judged_by"),
    ("procedures.csv", "limit_trip", ",30,", ",3.5,", "bad_value", "grace_days"),
    ("procedures.csv", "limit_trip", ",pressure,", ",steam,", "bad_value", "side"),
    ("procedures.csv", "limit_trip", ",20,", ",twenty,", "bad_value", "minutes"),
    ("procedures.csv", "slow_drain", ",45,2,", ",45,3,", "bad_value", "people"),
    ("procedures.csv", "chamber_open_inspect", ",open,", ",opened,", "bad_value", "voids"),
    ("procedures.csv", "siphon_check", "siphon_plugged", "siphon_shut", "unknown_reference", "fails_as"),
    ("procedures.csv", "pop_test", "due_only", "due", "bad_value", "proof"),
    ("procedures.csv", "pop_test", "12 mo", "", "empty", "interval"),
    ("variants.csv", "lever_lift,weekly", "1 w", "week", "bad_value", "interval"),
    ("variants.csv", "lever_lift,weekly", "1 w", "", "empty", "interval"),
    ("variants.csv", "lever_lift,weekly", "yes", "", "bad_value", "due_only"),
    ("variants.csv", "lever_lift,weekly", "lever_lift", "lever_push", "unknown_reference", "procedure"),
    ("variants.csv", "lever_lift,monthly", "monthly", "weekly", "duplicate", "variant"),
    ("contradictions.csv", "glass_empty,glass_full", "glass_empty", "glass_gone", "unknown_reference", "first"),
    (
        "contradictions.csv",
        "discharge_plugged,lever_lift",
        "lever_lift:pass",
        "lever_push:pass",
        "unknown_reference",
        "second",
    ),
    (
        "contradictions.csv",
        "discharge_plugged,lever_lift",
        "lever_lift:pass",
        "lever_lift:good",
        "unknown_reference",
        "second",
    ),
    (
        "contradictions.csv",
        "found_firing",
        "operating_control_trip|",
        "control_trip|",
        "unknown_reference",
        "tested_by",
    ),
    (
        "contradictions.csv",
        "found_firing",
        "operating_control_trip|limit_circuit_trip|normal_restart",
        "",
        "empty",
        "tested_by",
    ),
    ("contradictions.csv", "glass_empty,glass_full", ",5,", ",five,", "bad_value", "window_minutes"),
    ("contradictions.csv", "glass_empty,glass_full", ",no,", ",,", "bad_value", "same_place"),
    ("readings.csv", "limit_trip,call_on", "yes,yes,,,", "yes,yes,is yes,fail,", "unused_rule", "rule"),
    ("readings.csv", "soap_test,bubbles", "is no", "is not", "bad_value", "rule"),
    ("readings.csv", "soap_test,bubbles", "is no", ">= 3", "bad_value", "rule"),
    ("readings.csv", "soap_test,bubbles", "is no", "", "bad_value", "else"),
    ("readings.csv", "soap_test,bubbles", ",fail,", ",,", "bad_value", "else"),
    ("readings.csv", "soap_test,bubbles", ",fail,", ",lapse,", "bad_value", "else"),
    ("readings.csv", "soap_test,bubbles", "no,is no", ",is no", "empty", "accept"),
    ("readings.csv", "soap_test,smell", "people_in_danger", "people_away", "unknown_reference", "finding"),
    ("readings.csv", "soap_test,smell", ",fail,", ",inconclusive,", "bad_value", "finding"),
    ("readings.csv", "three_cycles,cycles", ">= 3", ">= 0", "bad_value", "rule"),
    ("readings.csv", "three_cycles,cycles", ">= 3", ">= 101", "bad_value", "rule"),
    ("readings.csv", "three_cycles,cycles", ">= 3", "= 3", "bad_value", "rule"),
    ("readings.csv", "three_cycles,cycles", ">= 3", ">= three", "bad_value", "rule"),
    ("readings.csv", "accumulation_test,highest_psi", "<= 20", "<= 60", "bad_value", "rule"),
    ("readings.csv", "pop_test,opens_psi", "within 2 @", "within 0 @", "bad_value", "rule"),
    ("readings.csv", "pop_test,opens_psi", "@set_psi", "@stamp_psi", "unknown_reference", "rule"),
    ("readings.csv", "pop_test,opens_psi", "2 @set_psi", "2 15", "bad_value", "rule"),
    ("readings.csv", "flame_failure_test,seconds", "@flame_failure_s", "@", "bad_value", "rule"),
    ("readings.csv", "pop_test,after_pop", "in tight", "in shut", "bad_value", "rule"),
    ("readings.csv", "pop_test,after_pop", "in tight", "in tight|weeps|drips", "bad_value", "rule"),
    ("readings.csv", "limit_trip,trip_psi", "60", "sixty", "bad_value", "high"),
    ("readings.csv", "limit_trip,trip_psi", "60", "inf", "bad_value", "high"),
    ("readings.csv", "limit_trip,trip_psi", "-5", "70", "bad_value", "low"),
    ("readings.csv", "limit_trip,trip_psi", "limit_trip", "limit_tip", "unknown_reference", "procedure"),
    ("readings.csv", "limit_trip,trip_psi", "number", "int", "bad_value", "type"),
    ("readings.csv", "flush,water", "runs|little|none", "", "bad_value", "choices"),
    ("touches.csv", "siphon,open", "siphon_check", "siphon_look", "unknown_reference", "needs"),
    ("touches.csv", "siphon,open", "siphon_check", "", "empty", "needs"),
    ("touches.csv", "fuel_valve,open,fuel_valve_leak", "_leak_test", "_closure", "duplicate", "needs"),
    ("touches.csv", "siphon,open", "open", "opened", "bad_value", "touch"),
    ("touches.csv", "siphon,open", "siphon,", "syphon,", "unknown_reference", "kind"),
    ("findings.csv", "siphon_plugged", "hold", "grave", "bad_value", "level"),
    ("findings.csv", "siphon_plugged", "path", "pipe", "bad_value", "fails"),
    ("findings.csv", "siphon_plugged", "siphon_check", "look", "unknown_reference", "clears_by"),
    ("actions.csv", "rod", "open", "rodded", "bad_value", "touch"),
    ("actions.csv", "rod", "yes", "true", "bad_value", "repairs"),
    ("observations.csv", "valve_dripping", "valve_drips", "drips", "unknown_reference", "finding"),
    ("observations.csv", "valve_dripping", "safety_valve", "valve", "unknown_reference", "roles"),
    ("observations.csv", "valve_dripping", "safety_valve", "safety_valve|", "bad_value", "roles"),
]


@pytest.mark.parametrize(("file", "start", "old", "new", "code", "column"), PLANTED)
def test_a_broken_cell_is_refused_with_its_place(
    folder: Path, file: str, start: str, old: str, new: str, code: str, column: str
) -> None:
    line = swap(folder / file, start, old, new)
    with pytest.raises(Refused) as refused:
        read_release(folder, 1)
    assert (code, file, line, column) in places(refused.value)


def test_all_faults_of_all_files_are_told_at_once(folder: Path) -> None:
    first = swap(folder / "actions.csv", "rod", "open", "rodded")
    second = swap(folder / "roles.csv", "siphon", "over_pressure", "overpressure")
    with pytest.raises(Refused) as refused:
        read_release(folder, 1)
    wanted = {("bad_value", "actions.csv", first, "touch"), ("unknown_reference", "roles.csv", second, "hazard")}
    assert places(refused.value) == wanted


@pytest.mark.parametrize("file", ["hazards.csv", "observations.csv", "texts.yaml"])
def test_a_missing_file_is_one_fault_of_that_file(folder: Path, file: str) -> None:
    (folder / file).unlink()
    with pytest.raises(Refused) as refused:
        read_release(folder, 1)
    assert ("missing_file", file, 1, "") in places(refused.value)


def test_an_unknown_column_is_refused(folder: Path) -> None:
    swap(folder / "kinds.csv", "code", "source", "source,colour")
    with pytest.raises(Refused) as refused:
        read_release(folder, 1)
    assert ("unknown_column", "kinds.csv", 1, "colour") in places(refused.value)


def test_a_missing_column_is_refused(folder: Path) -> None:
    swap(folder / "kinds.csv", "code", ",source", "")
    with pytest.raises(Refused) as refused:
        read_release(folder, 1)
    assert ("missing_column", "kinds.csv", 1, "source") in places(refused.value)


def test_a_row_of_the_wrong_length_is_refused(folder: Path) -> None:
    line = append(folder / "hazards.csv", "frost,Frost")
    with pytest.raises(Refused) as refused:
        read_release(folder, 1)
    assert places(refused.value) == {("bad_row", "hazards.csv", line, "")}


def test_a_table_without_rows_is_refused(folder: Path) -> None:
    (folder / "actions.csv").write_text("code,name,touch,repairs,source\n")
    with pytest.raises(Refused) as refused:
        read_release(folder, 1)
    assert places(refused.value) == {("empty_table", "actions.csv", 1, "")}


def test_a_table_nobody_knows_is_refused(folder: Path) -> None:
    (folder / "colours.csv").write_text("code\n")
    with pytest.raises(Refused) as refused:
        read_release(folder, 1)
    assert places(refused.value) == {("unknown_file", "colours.csv", 1, "")}


@pytest.mark.parametrize("code", ["flush_keeps_firing", "test_failed", "lockout_found", "lockout_cause"])
def test_a_finding_that_the_rules_fire_must_have_its_row(folder: Path, code: str) -> None:
    drop(folder / "findings.csv", code)
    with pytest.raises(Refused) as refused:
        read_release(folder, 1)
    assert ("missing_rule", "findings.csv", 1, "code") in places(refused.value)


def test_an_observation_that_the_rules_know_must_have_its_row(folder: Path) -> None:
    drop(folder / "observations.csv", "cause_found")
    with pytest.raises(Refused) as refused:
        read_release(folder, 1)
    assert places(refused.value) == {("missing_rule", "observations.csv", 1, "code")}


def test_a_quoted_cell_with_a_line_end_does_not_shift_the_lines_after_it(folder: Path) -> None:
    swap(folder / "hazards.csv", "dry_firing", "Dry firing", '"Dry\nfiring"')
    line = swap(folder / "hazards.csv", "overfilling", "no", "never")
    with pytest.raises(Refused) as refused:
        read_release(folder, 1)
    assert places(refused.value) == {("bad_value", "hazards.csv", line, "stops_firing")}


def test_bytes_that_are_no_text_are_refused(folder: Path) -> None:
    (folder / "actions.csv").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(Refused) as refused:
        read_release(folder, 1)
    assert ("bad_file", "actions.csv", 1, "") in places(refused.value)


def test_a_text_that_belongs_to_nothing_is_refused_with_its_line(folder: Path) -> None:
    line = append(folder / "texts.yaml", "  ghost: Nothing.")
    with pytest.raises(Refused) as refused:
        read_release(folder, 1)
    assert places(refused.value) == {("unknown_text", "texts.yaml", line, "cautions")}


@pytest.mark.parametrize(("old", "new"), [("flush:", "flush: at once"), ("flush:", "flush: {do: it}")])
def test_steps_that_are_no_list_are_refused_with_their_line(folder: Path, old: str, new: str) -> None:
    texts = folder / "texts.yaml"
    before, after = texts.read_text().split("\nsteps:\n")
    told = [line for line in after.splitlines() if not line.startswith("    - ")]
    texts.write_text(before + "\nsteps:\n" + "\n".join(told).replace(old, new, 1) + "\n")
    line = len((before + "\nsteps:\n").splitlines()) + 1
    with pytest.raises(Refused) as refused:
        read_release(folder, 1)
    assert ("bad_value", "texts.yaml", line, "steps") in places(refused.value)


@pytest.mark.parametrize(("section", "told"), [("steps", "steps"), ("cautions", "cautions")])
def test_a_procedure_without_caution_or_steps_is_refused(folder: Path, section: str, told: str) -> None:
    texts = folder / "texts.yaml"
    before, after = texts.read_text().split(f"\n{section}:\n")
    texts.write_text(f"{before}\n{section}:\n{after.replace('  flush:', '  fluid:', 1)}")
    with pytest.raises(Refused) as refused:
        read_release(folder, 1)
    row = line_of(folder / "procedures.csv", "flush,")
    assert ("missing_text", "procedures.csv", row, "code") in places(refused.value)
    assert any(told.rstrip("s") in f.message for f in refused.value.faults if f.code == "missing_text")


@pytest.mark.parametrize("code", ["flame_failure_slow", "co_high", "set_pressure_off", "equipment_failed"])
def test_a_finding_that_the_table_fires_must_have_its_row(folder: Path, code: str) -> None:
    drop(folder / "findings.csv", f"{code},")
    with pytest.raises(Refused) as refused:
        read_release(folder, 1)
    assert ("missing_rule", "findings.csv", 1, "code") in places(refused.value)


def test_a_section_nobody_knows_is_refused_with_its_line(folder: Path) -> None:
    line = append(folder / "texts.yaml", "jokes: {}")
    with pytest.raises(Refused) as refused:
        read_release(folder, 1)
    assert places(refused.value) == {("unknown_text", "texts.yaml", line, "")}


def test_a_text_given_twice_is_refused_with_the_second_line(folder: Path) -> None:
    line = append(folder / "texts.yaml", "  flush: Again.")
    with pytest.raises(Refused) as refused:
        read_release(folder, 1)
    assert places(refused.value) == {("duplicate", "texts.yaml", line, "cautions")}


def test_broken_yaml_is_refused_with_its_line(folder: Path) -> None:
    line = append(folder / "texts.yaml", "  flush: [")
    with pytest.raises(Refused) as refused:
        read_release(folder, 1)
    assert {p[:2] for p in places(refused.value)} >= {("bad_file", "texts.yaml")}
    assert max(p[2] for p in places(refused.value) if p[0] == "bad_file") >= line


def test_a_finding_without_a_first_act_is_refused(folder: Path) -> None:
    swap(folder / "texts.yaml", "  valve_drips:", "valve_drips", "valve_trips")
    with pytest.raises(Refused) as refused:
        read_release(folder, 1)
    row = line_of(folder / "findings.csv", "valve_drips,")
    assert ("missing_text", "findings.csv", row, "code") in places(refused.value)
