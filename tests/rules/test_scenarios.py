"""Every scenario is met; and the form in which they are written refuses what is not of it."""

from pathlib import Path

import pytest

from tests.rules.scenarios.__main__ import main
from tests.rules.scenarios.form import outline, read, scenarios_of
from tests.rules.scenarios.nodes import Broken
from tests.rules.scenarios.run import report, results

CASES = Path(__file__).parent / "scenarios" / "cases"

GOOD = """\
scenario: A boiler that nobody saw is not surveyed.
zone: America/New_York
boiler:
  since: 2025-09-01
  positions:
    lower: {role: lower_cutoff, kind: probe_cutoff}
    limit: {role: high_limit, attributes: {set_psi: 8}}
people: {Vera: [technician]}
visits:
  - kind: follow_up
    id: first
    performed_at: 2025-10-15 09:00
    people: [Vera]
    entries:
      - {test: button_test, position: lower, outcome: pass}
moments:
  - at: 2025-10-01
    standing: not_surveyed
"""


def _params() -> list[object]:
    found = []
    for path in sorted(CASES.glob("*.yaml")):
        for number, (line, known) in enumerate(outline(path)):
            marks = [pytest.mark.xfail(strict=True, reason=known, raises=AssertionError)] if known else []
            found.append(pytest.param(path, number, id=f"{path.stem}:{line}", marks=marks))
    return found


@pytest.mark.parametrize(("path", "number"), _params())
def test_scenario_is_met(path: Path, number: int) -> None:
    scenario = scenarios_of(path)[number]
    found = list(results(scenario))
    assert all(r.met for r in found), "\n" + "\n".join(report(scenario, found, verbose=False))


def test_there_are_scenarios_of_every_file_and_each_says_something_of_its_own() -> None:
    scenarios = {path: scenarios_of(path) for path in CASES.glob("*.yaml")}
    names = [s.name for told in scenarios.values() for s in told]
    assert {path: [s.line for s in told] for path, told in scenarios.items()} == {
        path: [line for line, _ in outline(path)] for path in scenarios
    }
    assert len(names) >= 60
    assert len(set(names)) == len(names)


@pytest.fixture
def written(tmp_path: Path):  # noqa: ANN201
    """Write a file and return its path."""

    def write(text: str) -> Path:
        path = tmp_path / "case.yaml"
        path.write_text(text, encoding="utf-8")
        return path

    return write


# what is put in the place of what, the line of the refusal, and words of it
REFUSED = [
    ("since: 2025-09-01", "sins: 2025-09-01", 4, "unknown key 'sins'"),
    ("    standing: not_surveyed", "    standing: fine", 18, "unknown standing 'fine'"),
    ("    standing: not_surveyed", "    standing: [hold]", 18, "standing belongs here"),
    ("    standing: not_surveyed", "    known_at: 2025-10-02", 17, "nothing is expected"),
    ("    standing: not_surveyed", "    states: {limits: proven}", 18, "unknown key 'limits'"),
    ("    standing: not_surveyed", "    reasons: [due@limits]", 18, "unknown position 'limits'"),
    ("    standing: not_surveyed", "    reasons: [doo]", 18, "unknown code 'doo'"),
    ("    standing: not_surveyed", "    deficiencies: [{rule: limit_faild}]", 18, "unknown rule 'limit_faild'"),
    ("    standing: not_surveyed", "    deficiencies: []\n    at_least: yes", 18, "at least none"),
    ("    standing: not_surveyed", "    verdicts: [{visit: first, entry: 2, outcome: pass}]", 18, "entries 1 to 1"),
    (
        "    standing: not_surveyed",
        "    readiness: {visit: second, answer: nothing_found_by_this_visit}",
        18,
        "unknown visit 'second'",
    ),
    ("at: 2025-10-01", "at: 2025-11-02 01:30", 17, "happens twice"),
    ("at: 2025-10-01", "at: 2026-03-08 02:30", 17, "does not exist"),
    ("at: 2025-10-01", "at: Tuesday", 17, "not a day or time"),
    ("zone: America/New_York", "zone: America/Old_York", 2, "unknown time zone"),
    ("role: high_limit", "role: low_limit", 7, "unknown role 'low_limit'"),
    ("{set_psi: 8}", "{set_psi_: 8}", 7, "unknown value 'set_psi_'"),
    ("kind: probe_cutoff}", "kind: siphon}", 6, "unknown kind 'siphon'"),
    ("kind: probe_cutoff}", "kind: probe_cutoff, hangs_on: nowhere}", 6, "unknown position 'nowhere'"),
    ("kind: probe_cutoff}", "needed: yes}", 6, "'kind' is missing"),
    ("people: [Vera]", "people: [Wera]", 13, "unknown person 'Wera'"),
    ("[technician]", "[tecnician]", 8, "unknown qualification"),
    ("test: button_test", "test: push_test", 15, "unknown test 'push_test'"),
    ("test: button_test", "test: limit_trip", 15, "not for a lower cutoff"),
    ("position: lower, out", "position: nowhere, out", 15, "unknown position 'nowhere'"),
    ("outcome: pass}", "outcome: passed}", 15, "unknown outcome 'passed'"),
    ("outcome: pass}", "outcome: pass, readings: {trip: 1}}", 15, "unknown key 'trip'"),
    ("outcome: pass}", "outcome: not_done}", 15, "has a why"),
    ("outcome: pass}", "outcome: pass, work: rest}", 15, "unknown key"),
    ("{test: button_test, position: lower, outcome: pass}", "{observe: leeking}", 15, "unknown observation 'leeking'"),
    ("{test: button_test, position: lower, outcome: pass}", "{observe: lockout_found}", 15, "is seen on one of"),
    (
        "{test: button_test, position: lower, outcome: pass}",
        "{test: slow_drain, position: lower, outcome: pass, readings: {trip_in: high}}",
        15,
        "a number belongs here",
    ),
    (
        "{test: button_test, position: lower, outcome: pass}",
        "{test: slow_drain, position: lower, outcome: pass, readings: {trip_in: 99}}",
        15,
        "can't be 99 in",
    ),
    (
        "{test: button_test, position: lower, outcome: pass}",
        "{test: slow_drain, position: lower, outcome: pass, readings: {burner_firing: 1}}",
        15,
        "yes or no belongs here",
    ),
    ("    id: first", "    id: first\n    corrects: zero", 12, "unknown visit to correct 'zero'"),
    ("    id: first", "    id: first\n    void: yes", 12, "only a correction can be void"),
    ("    id: first", "    id: first\n    posted_at: 2025-10-14", 12, "posted once it was performed"),
    ("    id: first", "    id: first\n    id: second", 12, "stands there twice"),
    ("moments:\n", "terms: {season: 13-01/05-31}\nmoments:\n", 16, "a season such as"),
    ("moments:\n", "terms: {urgent_days: -1}\nmoments:\n", 16, "a whole number belongs here"),
    ("moments:\n", "terms: {variants: {limit_trip: hourly}}\nmoments:\n", 16, "unknown variant 'hourly'"),
    ("moments:\n", "services: [{state: asleep, since: 2025-10-01}]\nmoments:\n", 16, "unknown service state 'asleep'"),
    ("moments:\n  - at", "moments: []\nsource:\n  - at", 16, "at least one moment"),
]


@pytest.mark.parametrize(("old", "new", "line", "told"), REFUSED)
def test_what_is_not_of_the_form_is_refused_with_its_line(written, old: str, new: str, line: int, told: str) -> None:  # noqa: ANN001
    assert old in GOOD
    path = written(GOOD.replace(old, new, 1))
    with pytest.raises(Broken) as refused:
        read(path)
    assert str(refused.value).startswith(f"{path}:{line}: ")
    assert told in str(refused.value)


@pytest.mark.parametrize("text", ["", "a: [", "- a", "scenarios: []"])
def test_what_is_no_scenario_at_all_is_refused(written, text: str) -> None:  # noqa: ANN001
    with pytest.raises(Broken):
        read(written(text))


def test_a_known_fault_that_is_no_longer_seen_is_told(written, capsys: pytest.CaptureFixture[str]) -> None:  # noqa: ANN001
    assert main([str(written("known_fault: it was wrong once\n" + GOOD))]) == 0
    assert "take the mark away" in capsys.readouterr().out


def test_work_that_names_itself_is_refused(written) -> None:  # noqa: ANN001
    body = GOOD.replace("{test: button_test, position: lower, outcome: pass}", "{work: again}")
    listed = "work: {again: [{work: again}]}\nscenarios:\n  - " + body.strip().replace("\n", "\n    ")
    with pytest.raises(Broken, match="names itself"):
        read(written(listed))


def test_all_met_ends_with_0(written, capsys: pytest.CaptureFixture[str]) -> None:  # noqa: ANN001
    assert main([str(written(GOOD))]) == 0
    assert capsys.readouterr().out == "1 scenarios, 1 moments, 0 failed\n"


def test_not_met_ends_with_1_and_shows_expected_beside_got(written, capsys: pytest.CaptureFixture[str]) -> None:  # noqa: ANN001
    path = written(GOOD.replace("standing: not_surveyed", "standing: clear"))
    assert main([str(path)]) == 1
    told = capsys.readouterr().out
    assert "expected clear" in told
    assert "got not_surveyed: [not_surveyed]" in told
    assert told.endswith("1 scenarios, 1 moments, 1 failed\n")


def test_a_broken_file_ends_with_2_and_the_others_still_run(written, capsys: pytest.CaptureFixture[str]) -> None:  # noqa: ANN001
    path = written(GOOD)
    broken = path.with_name("broken.yaml")
    broken.write_text("scenario: [", encoding="utf-8")
    assert main([str(broken), str(path)]) == 2
    told = capsys.readouterr().out
    assert told.startswith(f"{broken}:")
    assert told.endswith("1 scenarios, 1 moments, 0 failed\n")


def test_what_was_met_is_shown_on_request(written, capsys: pytest.CaptureFixture[str]) -> None:  # noqa: ANN001
    assert main(["-v", str(written(GOOD))]) == 0
    assert "ok  standing: expected not_surveyed" in capsys.readouterr().out


WRONG = [
    "states: {lower: proven}",
    "marks: {lower: [doubtful]}",
    "reasons: [lapsed]",
    "deficiencies: [{rule: limit_failed, position: limit}]",
    "{deficiencies: [{rule: limit_failed, position: limit}], at_least: yes}",
    "readiness: {visit: first, answer: nothing_found_by_this_visit}",
    "readiness: {visit: first, answer: something_does, missing: [service@limit]}",
    "due: {limit: 2026-10-01}",
    "lapses: {limit: 2026-10-31}",
    "conditions: [{condition: lapsed, subject: limit}]",
    "no_conditions: [against_firing]",
    "verdicts: [{visit: first, entry: 1, outcome: pass}]",
    "verdicts: [{visit: first, entry: 1, outcome: noted, proves: full}]",
    "verdicts: [{visit: first, entry: 1, grade: good}]",
]


@pytest.mark.parametrize("wrong", WRONG)
def test_every_kind_of_expectation_can_fail(written, wrong: str) -> None:  # noqa: ANN001
    lines = wrong.strip("{}") if wrong.startswith("{") else wrong
    body = lines.replace("], at_least", "]\n    at_least")
    text = GOOD.replace("at: 2025-10-01\n", "at: 2025-10-16\n").replace("standing: not_surveyed", body)
    assert main([str(written(text))]) == 1
