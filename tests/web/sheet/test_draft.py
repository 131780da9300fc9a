"""What a draft claims, pins and restates: its own pure functions, run in a real browser without any page."""

import base64
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from django.conf import settings
from playwright.sync_api import Browser, Page

from api.field_words import compose_words
from tests.api.phone import Body, Phone, flush
from tests.cast import Fleet
from tests.portfolio.sheets import CATALOGUE

pytestmark = pytest.mark.xdist_group("sheet")
FILES = Path(settings.ROOT) / "fleet" / "web" / "static" / "web" / "sheet"
PERSON = "a0000000-0000-4000-8000-000000000001"
PACK = {
    "boiler": {"id": "b", "address": "12 Alder Terrace", "name": "Boiler 1"},
    "as_of": "2026-01-12T08:00:00Z",
    "visits": [],
    "places": [],
    "sheets": {"": []},
}
WRITE = """
    const procedures = Object.fromEntries(words.procedures.map((p) => [p.code, p]));
    const draft = d.newDraft({ id: "v", pack, kind: "routine_check", person: { id: "p" }, at: 1000 });
    const test = (code) => d.addStep(draft, { act: "test", code, position: "place", role: "" });
    const question = (step, name) => d.questionsOf(step, procedures[step.code]).find((q) => q.name === name);
    const entries = () => d.visitBody(draft, procedures, 0).entries;
"""


@cache
def words() -> dict[str, object]:
    return compose_words(CATALOGUE, "en")


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    made = browser.new_page()
    yield made
    made.context.close()


def run(page: Page, script: str, name: str = "draft.js", **given: Any) -> Any:
    """Run a function's body with the module as `d`, and with what is given by name."""
    source = base64.b64encode((FILES / name).read_bytes()).decode()
    given = {"words": words(), "pack": PACK, **given}
    text = f"async ([source, {{ {', '.join(given)} }}]) => {{ const d = await import(source); {script} }}"
    return page.evaluate(text, [f"data:text/javascript;base64,{source}", given])


def test_what_was_seen_before_a_test_was_broken_off_is_still_posted(page: Page) -> None:
    (entry,) = run(
        page,
        WRITE
        + """
        const step = test("combustion_test");
        d.answer(draft, step, question(step, "ambient_co_ppm"), 120, 2000);
        d.excuse(draft, step, "unsafe", 3000);
        return entries();
        """,
    )
    assert (entry["outcome"], entry["readings"]) == ("inconclusive", {"ambient_co_ppm": 120})
    assert "why" not in entry


def test_a_test_that_nobody_began_is_posted_with_why_it_was_not_done(page: Page) -> None:
    (entry,) = run(
        page,
        WRITE + 'const step = test("flush"); d.excuse(draft, step, "no_access", 2000); return entries();',
    )
    assert (entry["outcome"], entry["why"]) == ("not_done", "no_access")


def test_a_first_act_stays_until_its_own_answer_is_taken_back(page: Page) -> None:
    seen = run(
        page,
        WRITE
        + """
        const step = test("combustion_test");
        const [bad, other] = d.questionsOf(step, procedures.combustion_test).map((q) => ({ ...q }));
        bad.first_act = "Get out."; other.first_act = "Shut the fuel off.";
        const seen = [];
        const give = (q, isBad, at) => {
          d.answer(draft, step, q, 1, at);
          d.pinAct(step, q, isBad);
          seen.push(d.pinsOf(step));
        };
        give(bad, true, 2000); give(other, true, 3000); give(other, false, 4000);
        d.takeBack(step, d.newestAnswer(step, procedures.combustion_test)); seen.push(d.pinsOf(step));
        d.takeBack(step, d.newestAnswer(step, procedures.combustion_test)); seen.push(d.pinsOf(step));
        return seen;
        """,
    )
    act = "Get out."
    assert seen == [[act], [act, "Shut the fuel off."], [act], [act], []]


def test_no_two_steps_have_one_id_though_one_was_dropped_between(page: Page) -> None:
    ids = run(
        page,
        WRITE
        + """
        const first = test("flush"); test("flush");
        draft.steps = draft.steps.filter((s) => s !== first);
        test("flush");
        return draft.steps.map((s) => s.id);
        """,
    )
    assert len(set(ids)) == 2


def test_the_answer_given_last_is_the_one_taken_back(page: Page) -> None:
    name = run(
        page,
        WRITE
        + """
        const step = test("flush");
        for (const name of ["recovery", "burner_firing"]) d.answer(draft, step, question(step, name), "x", 2000);
        return d.newestAnswer(step, procedures.flush).name;
        """,
    )
    assert name == "burner_firing"


def all_acts(fleet: Fleet) -> Body:
    """A visit with every act there is, its times not in order and finer than a phone's, two tests claimed bare."""
    places = {name: str(place) for name, place in fleet.bench().places.items()}
    trip = {"trip_psi": 7.9, "stayed_off_minutes": 4, "psi_when_checked": 2, "call_on": True}
    new = {"kind": "limit_control", "set_psi": 8, "id": str(uuid4())}
    entries: list[Body] = [
        {"test": "flush", "position": places["upper"], "outcome": "fail"},
        {"test": "limit_trip", "position": places["limit"], "outcome": "inconclusive", "readings": trip},
        {"test": "flush", "position": places["lower"], "outcome": "not_done", "why": "no_access"},
        {"action": "open_clean", "position": places["upper"]},
        {"remove": {"position": places["limit"], "reason": "corroded"}},
        {"fit": {"position": places["limit"], "reason": "new", "with": new}, "ref": "new"},
        {"replace": {"position": places["upper"], "reason": "worn", "with": {"kind": "float_cutoff"}}, "ref": "u"},
        {"set": {"position": places["limit"], "set_psi": 7}},
        {"observe": "found_firing"},
        {**flush(fleet)["entries"][0], "phase": "as_left"},
    ]
    for number, entry in enumerate(entries):
        entry["performed_at"] = f"2026-01-12T08:{number:02}:00.123456-05:00"
    return {
        **flush(fleet),
        "performed_at": "2026-01-12T08:00:00.123456-05:00",
        "people": [{"user": str(fleet.technician.id)}, {"name": "Odile"}],
        "call_for_heat": True,
        "state_on_arrival": "firing",
        "left_as": "firing",
        "leaving_checks": {"jumpers_off": True, "told": [{"name": "Bram", "how": "by telephone"}]},
        "note": "Loud.",
        "photographs": [{"sha256": "0" * 64, "size": 9, "type": "image/png", "entry": 3}],
        "entries": entries,
    }


RESTATE = """
    const procedures = Object.fromEntries(words.procedures.map((p) => [p.code, p]));
    const draft = d.draftOfFacts({ id: "new", facts, pack, person: { id: "p" }, kinds, skew: 2345 });
    draft.reason = "typo";
    change(draft, procedures);
    return d.visitBody(draft, procedures, -5000);
"""


def facts_of(fleet: Fleet, body: Body) -> tuple[Phone, dict[str, Any]]:
    phone = Phone.of(fleet.technician)
    answer = phone.post(body)
    assert answer.status_code == 201, answer.content
    return phone, phone.get(f"/api/v1/visits/{body['id']}/facts/").json()


def kinds_in(phone: Phone, facts: Any) -> dict[str, str]:
    devices = [e["device"] for e in facts["entries"] if e["act"] in ("fit", "replace")]
    return {device: phone.get(f"/api/v1/devices/{device}/").json()["kind"] for device in devices}


def test_a_correction_that_changes_nothing_restates_every_fact(fleet: Fleet, page: Page) -> None:
    body = all_acts(fleet)
    phone, facts = facts_of(fleet, body)
    script = f"const change = () => {{}}; {RESTATE}"
    restated = run(page, script, facts=facts, kinds=kinds_in(phone, facts))
    restated = {**restated, "boiler": body["boiler"], "id": str(uuid4())}
    answer = phone.post(restated)
    assert answer.status_code == 201, answer.content
    again = phone.get(f"/api/v1/visits/{restated['id']}/facts/").json()
    changed = ("id", "now")
    strip = [[{k: v for k, v in e.items() if k not in changed} for e in f["entries"]] for f in (facts, again)]
    assert strip[0] == strip[1]
    for name in ("call_for_heat", "leaving_checks", "note", "photographs", "register_answers"):
        assert facts[name] == again[name], name
    for name in ("kind", "performed_at", "people", "state_on_arrival", "left_as"):
        assert facts["visit"][name] == again["visit"][name], name


def test_a_corrected_answer_keeps_its_place_and_its_time_and_what_is_added_is_of_that_visit(
    fleet: Fleet, page: Page
) -> None:
    body = {**flush(fleet), "entries": [flush(fleet)["entries"][0], {"observe": "found_firing"}]}
    _, facts = facts_of(fleet, body)
    change = """
        const change = (draft, procedures) => {
            const [flush] = draft.steps;
            while (d.newestAnswer(flush, procedures.flush)) d.takeBack(flush, d.newestAnswer(flush, procedures.flush));
            const stopped = d.questionsOf(flush, procedures.flush).find((q) => q.name === "burner_stopped");
            d.answer(draft, flush, stopped, false, Date.now());
            const seen = d.addStep(draft, { act: "observe", code: "gas_smell", position: null });
            d.placeStep(draft, seen, Date.now());
        };
    """
    entries = run(page, change + RESTATE, facts=facts, kinds={})["entries"]
    assert [e.get("test") or e["observe"] for e in entries] == ["flush", "found_firing", "gas_smell"]
    assert (entries[0]["outcome"], entries[0]["readings"]) == ("fail", {"burner_stopped": False})
    assert {e["performed_at"] for e in entries} == {facts["visit"]["performed_at"]}


def test_answers_about_the_register_are_restated_all(page: Page) -> None:
    answers = [
        {"role": "vent", "answer": "there", "kind": "air_vent", "reason": ""},
        {"role": "vent", "answer": "there", "kind": "other_vent", "reason": ""},
        {"role": "roll_out_switch", "answer": "none", "kind": "", "reason": "open hood"},
    ]
    head = {"id": "v", "kind": "routine_check", "performed_at": "2026-01-12T08:00:00Z", "people": []}
    facts = {
        "visit": {**head, "state_on_arrival": "", "left_as": ""},
        "leaving_checks": {},
        "entries": [],
        "photographs": [],
        "note": "",
        "call_for_heat": None,
        "register_answers": answers,
    }
    restated = run(page, f"const change = () => {{}}; {RESTATE}", facts=facts, kinds={})["register_answers"]
    assert restated == [{k: v for k, v in answer.items() if v} for answer in answers]


def test_an_optional_answer_that_accuses_is_no_pass(page: Page) -> None:
    outcomes = run(
        page,
        WRITE
        + """
        const step = test("draft_reading");
        const expected = { bool: (q) => q.expects[0] !== "no", choice: (q) => q.expects[0] ?? q.choices[0].code };
        for (let q; (q = d.nextQuestion(step, procedures.draft_reading)); )
          d.answer(draft, step, q, q.type === "outcome" ? true : (expected[q.type]?.(q) ?? -0.05), 2000);
        const before = entries()[0].outcome;
        d.answer(draft, step, question(step, "spills_after_five_minutes"), true, 3000);
        return [before, entries()[0].outcome];
        """,
    )
    assert outcomes == ["pass", "fail"]


def test_a_post_changed_after_its_answer_was_lost_corrects_what_was_stored(page: Page) -> None:
    body = run(
        page,
        WRITE
        + """
        const [one, two] = [test("flush"), test("flush")];
        d.answer(draft, one, question(one, "burner_firing"), true, 2000);
        const stored = d.visitBody(draft, procedures, 0);
        draft.triedSteps = [one.id];
        d.answer(draft, two, question(two, "burner_firing"), true, 9000);
        d.correctStored(draft, stored, "new");
        return d.visitBody(draft, procedures, 0);
        """,
    )
    assert (body["id"], body["corrects"]) == ("new", "v")
    assert [e["performed_at"] for e in body["entries"]] == ["1970-01-01T00:00:02.000Z"] * 2


@pytest.mark.parametrize(
    ("typed", "told"),
    [(" Ana ", ["Bram", "Ana"]), ("Bram", ["Bram"]), ("  ", ["Bram"]), (None, ["Bram"])],
)
def test_a_name_that_was_typed_counts_as_told_once(page: Page, typed: str | None, told: list[str]) -> None:
    body = run(
        page,
        WRITE
        + """
        draft.told = [{ name: "Bram", how: "in person" }];
        if (typed !== null) draft.typedName = typed;
        d.keepTypedName(draft);
        return d.visitBody(draft, procedures, 0);
        """,
        typed=typed,
    )
    assert [t["name"] for t in body["leaving_checks"]["told"]] == told


@pytest.mark.parametrize(
    ("reading", "seconds", "text"),
    [
        ("stayed_off_minutes", 179.9, "2.9"),
        ("stayed_off_minutes", 180, "3.0"),
        ("stayed_off_minutes", 185.9, "3.0"),
        ("seconds_to_shut", 4.0, "4.0"),
        ("seconds_to_shut", 4.04, "4.1"),
        ("purge_seconds", 29.99, "29.9"),
    ],
)
def test_a_measured_time_is_never_rounded_to_the_side_that_passes(
    page: Page, reading: str, seconds: float, text: str
) -> None:
    shown = run(page, "return d.timedText(d.TIMED[reading], seconds);", "timer.js", reading=reading, seconds=seconds)
    assert shown == text
