"""What a visit that rests on a paper of others is refused for, without a database; each bound at and beside it."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from fleet.errors import FaultPath
from fleet.rules.vocabulary import PAPER_BODIES
from fleet.visits.check import visit_faults
from fleet.visits.incoming import IncomingEntry, IncomingPaper, IncomingVisit, PaperFile
from fleet.visits.paper_check import FILE_TYPES, MAX_FILE_BYTES
from tests.visits.test_check import NOW, REGISTER, UPPER, VALVE, entry, visit

FILE = PaperFile("valve.pdf", "0123456789abcdef" * 4, 1, "application/pdf")
PAPER = IncomingPaper("valve_shop", "Harbor Valve Shop", "1001", date(2026, 1, 12), FILE)
SHOP_TEST = entry("test", "valve_shop_test", VALVE, outcome="pass", values={"serial": "V-1001"})
Faults = list[tuple[str, FaultPath]]


def on_paper(*entries: IncomingEntry, paper: IncomingPaper = PAPER, **more: Any) -> IncomingVisit:
    return replace(visit(*(entries or (SHOP_TEST,))), paper=paper, **more)


def found(incoming: IncomingVisit) -> Faults:
    return [(f.code, f.at) for f in visit_faults(incoming, REGISTER, NOW)]


def test_a_whole_paper_has_no_fault() -> None:
    assert found(on_paper()) == []


@pytest.mark.parametrize(
    ("field", "value", "code"),
    [
        ("body", "bank", "unknown_body"),
        ("body", "", "unknown_body"),
        ("name", "", "required"),
        ("name", " ", "required"),
        ("name", "n" * 201, "required"),
        ("number", "", "required"),
        ("number", "\t", "required"),
        ("number", "1" * 65, "required"),
        ("dated_on", date(2026, 1, 13), "in_the_future"),
        ("dated_on", date.max, "in_the_future"),
        ("dated_on", date(2019, 9, 30), "before_the_boiler"),
        ("dated_on", date.min, "before_the_boiler"),
    ],
)
def test_a_field_that_cannot_be_is_one_fault(field: str, value: object, code: str) -> None:
    assert found(on_paper(paper=replace(PAPER, **{field: value}))) == [(code, ("paper", field))]


@pytest.mark.parametrize(
    ("field", "value", "code"),
    [
        ("name", "", "required"),
        ("name", "n" * 201, "required"),
        ("sha256", "0" * 63, "not_a_hash"),
        ("sha256", "0" * 65, "not_a_hash"),
        ("sha256", "g" * 64, "not_a_hash"),
        ("sha256", "\u0660" * 64, "not_a_hash"),
        ("size", 0, "not_possible"),
        ("size", -1, "not_possible"),
        ("size", MAX_FILE_BYTES + 1, "not_possible"),
        ("type", "text/html", "unknown_type"),
        ("type", "", "unknown_type"),
    ],
)
def test_a_file_that_cannot_be_is_one_fault(field: str, value: object, code: str) -> None:
    file = replace(FILE, **{field: value})
    assert found(on_paper(paper=replace(PAPER, file=file))) == [(code, ("paper", "file", field))]


@pytest.mark.parametrize(
    "file",
    [replace(FILE, name="n" * 200), replace(FILE, size=MAX_FILE_BYTES), *(replace(FILE, type=t) for t in FILE_TYPES)],
)
def test_the_ends_of_what_a_file_may_be(file: PaperFile) -> None:
    assert found(on_paper(paper=replace(PAPER, file=file))) == []


@pytest.mark.parametrize(
    ("dated_on", "code"),
    [(date(2026, 1, 13), None), (date(2026, 1, 12), None), (date(2026, 1, 11), "after_the_paper")],
)
def test_no_entry_is_later_than_the_papers_day(dated_on: date, code: str | None) -> None:
    late = datetime(2026, 1, 13, 4, 59, 59, tzinfo=UTC)  # a second before midnight of the 12th at the boiler
    faults = visit_faults(
        on_paper(replace(SHOP_TEST, at=late), paper=replace(PAPER, dated_on=dated_on)), REGISTER, late
    )
    expected = [] if code is None else [(code, ("entries", 0, "performed_at"))]
    assert [(f.code, f.at) for f in faults if f.code != "in_the_future"] == expected


def test_a_papers_day_is_the_buildings() -> None:
    at_midnight = datetime(2026, 1, 13, 5, tzinfo=UTC)
    faults = visit_faults(on_paper(replace(SHOP_TEST, at=at_midnight)), REGISTER, at_midnight)
    assert [f.code for f in faults] == ["after_the_paper"]


@pytest.mark.parametrize("body", sorted({*PAPER_BODIES} - {"valve_shop"}))
def test_a_test_that_its_body_does_not_do_is_refused(body: str) -> None:
    faults = visit_faults(on_paper(paper=replace(PAPER, body=body)), REGISTER, NOW)
    assert [(f.code, f.at) for f in faults] == [("not_of_this_body", ("entries", 0, "test"))]
    assert faults[0].message.endswith("Post it as a visit of those who did it.")


def test_a_failed_test_is_taken_from_any_body() -> None:
    assert found(on_paper(replace(SHOP_TEST, outcome="fail"), paper=replace(PAPER, body="utility"))) == []


@pytest.mark.parametrize(
    ("code", "position", "expected"),
    [
        ("gas_smell", None, None),
        ("tag_found_inspector", None, None),
        ("tag_lifted_inspector", None, None),
        ("tag_lifted_utility", None, "not_of_this_body"),
        ("cause_found", UPPER, "not_on_paper"),
    ],
)
def test_an_observation_accuses_or_lifts_the_bodys_own_tag(code: str, position: Any, expected: str | None) -> None:
    seen = entry("observe", code, position)
    faults = found(on_paper(seen, paper=replace(PAPER, body="inspector")))
    assert faults == ([] if expected is None else [(expected, ("entries", 0, "observe"))])


@pytest.mark.parametrize(
    ("body", "code", "position", "expected"),
    [
        ("valve_shop", "repair", VALVE, None),
        ("valve_shop", "repair", UPPER, "not_of_this_body"),
        ("utility", "repair", VALVE, "not_of_this_body"),
        ("inspector", "jumper_removed", UPPER, "not_of_this_body"),
        ("valve_shop", "jumper_removed", VALVE, "not_of_this_body"),
        ("valve_shop", "jumper_fitted", UPPER, None),
    ],
)
def test_work_is_of_a_body_that_tests_such_a_device(body: str, code: str, position: Any, expected: str | None) -> None:
    faults = found(on_paper(entry("action", code, position), paper=replace(PAPER, body=body)))
    assert faults == ([] if expected is None else [(expected, ("entries", 0, "action"))])


@pytest.mark.parametrize("act", ["set", "remove", "fit", "replace"])
def test_what_was_fitted_or_set_belongs_to_the_visit_that_did_it(act: str) -> None:
    done = entry(
        act, position=VALVE, kind="safety_valve" if act in ("fit", "replace") else "", values={"set_psi": 15.0}
    )
    assert ("not_on_paper", ("entries", 0, act)) in found(on_paper(done))


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("call_for_heat", True),
        ("state_on_arrival", "firing"),
        ("left_as", "on_call"),
        ("leaving_checks", {"jumpers_off": True}),
    ],
)
def test_what_only_people_at_the_boiler_tell_is_refused(field: str, value: object) -> None:
    assert found(on_paper(**{field: value})) == [("not_on_paper", (field,))]


@pytest.mark.parametrize("kind", ["annual_service", "season_start", "season_shutdown", "no_heat", "restart"])
def test_a_paper_is_no_service(kind: str) -> None:
    assert found(on_paper(kind=kind)) == [("not_on_paper", ("kind",))]


@pytest.mark.parametrize("serial", ["", "  ", "s" * 65])
def test_a_serial_is_a_short_text(serial: str) -> None:
    assert found(on_paper(replace(SHOP_TEST, values={"serial": serial}))) == [("required", ("entries", 0, "serial"))]


def test_a_serial_without_a_paper_is_refused() -> None:
    assert found(visit(SHOP_TEST)) == [("serial_without_paper", ("entries", 0, "serial"))]


def test_a_void_visit_has_no_paper() -> None:
    assert ("void_has_paper", ("paper",)) in found(on_paper(void=True))


def test_all_faults_are_told_at_once() -> None:
    wrong = replace(PAPER, body="bank", name="", number="", dated_on=NOW.date() + timedelta(days=2))
    assert len(found(on_paper(paper=wrong, left_as="firing", kind="no_heat"))) == 6
