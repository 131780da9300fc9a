"""The catalogue that comes with the code: whole, sourced, and asking for the readings that its graders read."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path

import pytest

from fleet.catalog.parse import parse, read, rebuild
from fleet.rules.catalogue import Catalogue
from fleet.rules.verdicts import FIRES, GRADERS
from tests.catalog.conftest import SHIPPED
from tests.rules.build import Boiler

CATALOGUE = parse(SHIPPED, 1)
PROCEDURES = sorted(CATALOGUE.procedures)


class Recording(dict[str, object]):
    """Readings that remember which of them were asked for."""

    def __init__(self, values: Mapping[str, object]) -> None:
        super().__init__(values)
        self.asked: set[str] = set()

    def get(self, name: str, default: object = None) -> object:  # type: ignore[override]
        self.asked.add(name)
        return super().get(name, default)


def _asked(procedure: str) -> Iterator[set[str]]:
    boiler = Boiler()
    bench = boiler.bench(procedure)
    good = Recording(boiler.good(procedure, bench.record.position.ref))
    GRADERS[bench.procedure.judged_by](replace(bench, entry=replace(bench.entry, readings=good)))  # type: ignore[arg-type]
    yield good.asked


def test_the_shipped_catalogue_parses() -> None:
    assert isinstance(CATALOGUE, Catalogue)
    assert len(CATALOGUE.hazards) == 5


def test_what_a_release_keeps_builds_the_same_catalogue_again() -> None:
    content, made = read(SHIPPED, 3)
    assert rebuild(json.loads(json.dumps(content.as_json())), 3) == made


def test_the_digest_does_not_depend_on_how_the_file_was_written(folder: Path) -> None:
    before = read(folder, 1)[0].digest()
    table = folder / "hazards.csv"
    table.write_text(table.read_text().replace("Dry firing", ' "Dry firing" '.strip()).replace("\n", "\r\n"))
    assert read(folder, 1)[0].digest() == before


@pytest.mark.parametrize("procedure", PROCEDURES)
def test_every_reading_that_a_grader_reads_is_in_the_catalogue(procedure: str) -> None:
    (asked,) = _asked(procedure)
    assert asked <= CATALOGUE.procedures[procedure].readings.keys()


def test_every_grader_has_its_list_of_rules() -> None:
    assert FIRES.keys() == GRADERS.keys()


def test_every_protection_has_a_full_proof_for_each_kind_that_may_fill_it() -> None:
    kinds = {k for r in CATALOGUE.roles.values() if r.part == "protection" for k in r.kinds}
    assert [k for k in kinds if not CATALOGUE.proofs(k, "full")] == []


def test_no_operator_alone_may_give_a_full_proof() -> None:
    full = [p for p in CATALOGUE.procedures.values() if p.proof == "full"]
    assert [p.code for p in full if "operator" in p.who] == []


def test_a_test_button_is_no_proof() -> None:
    assert CATALOGUE.procedures["button_test"].proof == "none"


def test_every_hold_says_what_to_do_first() -> None:
    holds = [f for f in CATALOGUE.findings.values() if f.level == "hold"]
    assert [f.code for f in holds if len(f.first_act) < 40] == []


def test_every_finding_seen_and_not_tested_names_what_clears_it() -> None:
    seen = {o.finding for o in CATALOGUE.observations.values() if o.finding}
    assert [code for code in seen if not CATALOGUE.findings[code].clears_by] == []


def test_every_touch_asks_for_a_full_proof_of_its_own_kind() -> None:
    for touch in CATALOGUE.touches.values():
        full = {p.code for p in CATALOGUE.proofs(touch.kind, "full")}
        assert touch.needs <= full, touch
