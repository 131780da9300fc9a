"""A release that was loaded before findings had their columns is read as it was judged then."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from fleet.catalog.content import read_folder
from fleet.catalog.parse import read_release, rebuild_catalogue
from fleet.catalog.rows import Faults
from fleet.errors import Refused
from fleet.rules import judge
from fleet.rules.catalogue import Catalogue
from fleet.rules.finding_codes import FindingCode
from fleet.rules.values import CatalogueEdition
from tests.rules.build import Boiler, at, proof
from tests.rules.finding_columns import EXPECTED, LADDER, SOOT, TOLD, WATER_AND_STEAM, unexpected
from tests.rules.plant import Plant, look

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "catalogue"
CHANGED_SINCE = {
    *LADDER,
    *SOOT,
    *TOLD,
    *WATER_AND_STEAM,
    "ambient_co_raised",
    "burner_adjust",
    "flue_gas_spills",
    "flooded",
    "firing_while_off",
    "jumper_left",
    "light_off_bang",
    "rough_light_off",
    "reset_unqualified",
    "vent_blocked",
}  # no such release had them, or had them so
NOT_KNOWN = "is worse with soot"  # no such release knew soot
BEFORE = {"code", "level", "fails", "title", "clears_by", "source"}


def stored_before() -> dict[str, object]:
    """What such a release keeps: the rows of its findings without the columns."""
    stored = read_folder(FOLDER, Faults()).as_json()
    rows = [{k: v for k, v in row.items() if k in BEFORE} for row in stored["findings.csv"]]
    return {**stored, "findings.csv": rows}


def test_the_findings_of_a_release_from_before_the_columns_decide_as_they_did() -> None:
    older = rebuild_catalogue(stored_before(), 1)
    told_apart = sorted(set().union(*EXPECTED.values()) - CHANGED_SINCE)
    assert [code for code in told_apart if {*unexpected(older, code)} - {NOT_KNOWN}] == []


def test_a_set_point_found_wrong_under_such_a_release_closes_as_it_did_then() -> None:
    older = rebuild_catalogue(stored_before(), 1)
    assert {code: older.findings[code].needs_work for code in LADDER} == dict.fromkeys(LADDER, False)


def stored_without(code: str) -> dict[str, object]:
    """A release from before a finding: its row is not there, and no text of it."""
    stored = read_folder(FOLDER, Faults()).as_json()
    texts = {section: {k: v for k, v in told.items() if k != code} for section, told in stored["texts.yaml"].items()}
    rows = [row for row in stored["findings.csv"] if row["code"] != code]
    return {**stored, "findings.csv": rows, "texts.yaml": texts}


def judged_with(catalogue: Catalogue) -> tuple[list[str], str]:
    """The findings of a flush that the burner kept firing through, and what the test came to."""
    boiler = Boiler().service().visit(1, proof("upper", "flush", burner_stopped=False))
    return _judged(boiler, catalogue)


def _judged(boiler: Boiler, catalogue: Catalogue) -> tuple[list[str], str]:
    judgement = judge(replace(boiler.evidence(), catalogue=catalogue), (), at(2))
    return [f.rule for f in judgement.findings], judgement.verdicts[-1].outcome


def test_a_stored_release_loads_and_does_not_raise_a_finding_that_it_lacks() -> None:
    older = rebuild_catalogue(stored_without(FindingCode.FLUSH_KEEPS_FIRING), 1)
    assert judged_with(older) == ([], "fail")
    assert judged_with(rebuild_catalogue(stored_before(), 1)) == (["flush_keeps_firing"], "fail")


def test_a_stored_release_does_not_raise_what_it_lacks_by_data_either() -> None:
    older = rebuild_catalogue(stored_without(FindingCode.LADDER_LIMIT_AT_VALVE), 1)
    boiler = Boiler().sets(0, "limit", "set_psi", 15.0).service(1)
    assert "ladder_limit_at_valve" not in _open_by(boiler, older)
    assert "ladder_limit_at_valve" in _open_by(boiler, rebuild_catalogue(stored_before(), 1))


def _open_by(boiler: Boiler, catalogue: Catalogue) -> set[str]:
    judgement = judge(replace(boiler.evidence(), catalogue=catalogue), (), at(2))
    return {d.rule for d in judgement.deficiencies}


def test_a_release_that_is_loaded_now_must_have_them_all(tmp_path: Path) -> None:
    for file in FOLDER.iterdir():
        text = file.read_text(encoding="utf-8")
        lines = [line for line in text.splitlines(keepends=True) if not line.startswith("flush_dirty,")]
        (tmp_path / file.name).write_text("".join(lines), encoding="utf-8")
    with pytest.raises(Refused, match="flush_dirty"):
        read_release(tmp_path, 1)


def stored_from_before(*files: str) -> dict[str, Any]:
    """What a release keeps that was loaded before these tables were added."""
    return {file: rows for file, rows in read_folder(FOLDER, Faults()).as_json().items() if file not in files}


@pytest.mark.parametrize("file", ["needed_roles.csv", "sources.csv"])
def test_a_stored_release_without_a_newer_table_loads_and_its_references_are_checked(file: str) -> None:
    stored = stored_from_before(file)
    assert rebuild_catalogue(stored, 1).findings
    stored["roles.csv"][0]["hazard"] = "nothing"
    with pytest.raises(Refused) as refused:
        rebuild_catalogue(stored, 1)
    assert [(f.code, f.at) for f in refused.value.faults] == [("unknown_reference", ("roles.csv", 2, "hazard"))]


def test_a_stored_release_keeps_a_contradiction_that_nothing_tests() -> None:
    stored = stored_from_before()
    stored["contradictions.csv"][0]["tested_by"] = ""
    assert rebuild_catalogue(stored, 1).contradictions


def stored_without_ages() -> dict[str, Any]:
    """What a release keeps that was loaded before kinds had an age, and before there was a finding of it."""
    stored = stored_without(FindingCode.PAST_SERVICE_LIFE)
    kinds = [{k: v for k, v in row.items() if not k.startswith("life_")} for row in stored["kinds.csv"]]  # type: ignore[attr-defined]
    return {**stored, "kinds.csv": kinds}


def test_a_stored_release_from_before_ages_loads_and_calls_nothing_old() -> None:
    older = rebuild_catalogue(stored_without_ages(), 1)
    assert {kind.life_years for kind in older.kinds.values()} == {None}
    boiler = Boiler().service()
    boiler.fittings = [replace(f, since=at(-9000)) for f in boiler.fittings]
    assert "past_service_life" not in _open_by(boiler, older)
    assert "past_service_life" in _open_by(boiler, rebuild_catalogue(stored_before(), 1))


SEEN_SINCE = (
    "water_carried_over",
    "water_surging",
    "water_hammer",
    "soot_seen",
    "room_flooded",
    "steam_without_heat",
    "trouble_told",
)


def stored_before_what_is_seen() -> dict[str, Any]:
    """What a release keeps that was loaded before these observations and findings, and before *steaming watched*."""
    stored = stored_from_before()
    gone = {*SEEN_SINCE, "soot_with_flue_gas", "steaming_check"}
    for file in ("findings.csv", "observations.csv", "procedures.csv"):
        stored[file] = [row for row in stored[file] if row["code"] not in gone]
    stored["readings.csv"] = [
        r for r in stored["readings.csv"] if r["procedure"] not in gone and r["finding"] not in gone
    ]
    texts = stored["texts.yaml"]
    return {**stored, "texts.yaml": {s: {k: v for k, v in told.items() if k not in gone} for s, told in texts.items()}}


def test_a_stored_release_from_before_soot_joins_air_and_flue_gas_as_it_did() -> None:
    older = rebuild_catalogue(stored_before_what_is_seen(), 1)
    boiler = Plant().service().visit(1, look("vent", "vent_loose"), look(None, "alarm_sounding"))
    evidence = replace(boiler.evidence(), catalogue=older)
    assert {d.rule for d in judge(evidence, (), at(2)).deficiencies} >= {"vent_loose", "air_or_vent_with_co"}


def test_what_such_a_release_knew_is_judged_by_it_and_what_was_seen_later_by_the_newer() -> None:
    older = rebuild_catalogue(stored_before_what_is_seen(), 1)
    boiler = Plant().service().visit(5, look(None, "soot_seen"), look(None, "water_hammer"))
    newer = CatalogueEdition(at(3), rebuild_catalogue(stored_from_before(), 2))
    judgement = judge(replace(boiler.evidence(), catalogue=older, editions=(newer,)), (), at(6))
    assert {d.rule for d in judgement.deficiencies} >= {"soot_seen", "water_hammer"}
