"""What a visit's shape is refused for: 400, a code and a pointer for every fault, and nothing kept."""

from typing import Any

import pytest

from fleet.visits.models import Visit
from tests.api.phone import DROP, Phone, but, flush, limit, told
from tests.cast import Fleet

pytestmark = pytest.mark.django_db
BIG = 10**4000

SHAPES: list[tuple[tuple[str | int, ...], Any, str]] = [
    (("id",), "{0198f3c2-7c1e-7b7a-9a54-2f6d3f0c9a11}", "invalid"),
    (("id",), "urn:uuid:0198f3c2-7c1e-7b7a-9a54-2f6d3f0c9a11", "invalid"),
    (("id",), 5, "invalid"),
    (("id",), BIG, "invalid"),
    (("id",), None, "null"),
    (("id",), "\ud800", "invalid"),
    (("boiler",), DROP, "required"),
    (("boiler",), ["x"], "invalid"),
    (("boiler",), "a\x00b", "invalid"),
    (("kind",), "no_such_kind", "invalid_choice"),
    (("kind",), "\ud800", "invalid_choice"),
    (("kind",), {"a": 1}, "invalid_choice"),
    (("kind",), "x" * 100_000, "invalid_choice"),
    (("performed_at",), "2026-01-12T08:00:00", "no_offset"),
    (("performed_at",), "2026-01-12", "not_an_instant"),
    (("performed_at",), "2026-W03-1T08:00:00Z", "not_an_instant"),
    (("performed_at",), "٢٠٢٦-01-12T08:00:00Z", "not_an_instant"),
    (("performed_at",), 1768222800, "not_an_instant"),
    (("performed_at",), "2026-02-30T08:00:00Z", "invalid"),
    (("performed_at",), "2026-01-12T08:00:00+24:00", "invalid"),
    (("performed_at",), "0000-01-12T08:00:00Z", "invalid"),
    (("performed_at",), "0001-01-01T00:00:00+05:00", "overflow"),
    (("performed_at",), "9999-12-31T23:59:59-05:00", "overflow"),
    (("people",), [], "empty"),
    (("people",), "rosa", "not_a_list"),
    (("people",), [{"name": "Someone"}] * 21, "max_length"),
    (("people", 0), {}, "user_or_name"),
    (("people", 0), {"user": "b8a2f1de-0000-4000-8000-000000000000", "name": "Both"}, "user_or_name"),
    (("people", 0), "Rosa", "invalid"),
    (("people", 0, "nickname"), "R", "unknown_field"),
    (("people", 0), {"name": "a\x00b"}, "null_characters_not_allowed"),
    (("people", 0), {"name": "\udfff"}, "surrogate_characters_not_allowed"),
    (("people", 0), {"name": 7}, "invalid"),
    (("people", 0), {"name": " "}, "blank"),
    (("people", 0), {"name": "x" * 201}, "max_length"),
    (("call_for_heat",), "yes", "invalid"),
    (("call_for_heat",), 1, "invalid"),
    (("left_as",), "on_fire", "invalid_choice"),
    (("state_on_arrival",), True, "invalid_choice"),
    (("entries",), {"0": {}}, "not_a_list"),
    (("entries",), [], "empty"),
    (("entries",), [{}] * 201, "max_length"),
    (("entries", 0), None, "null"),
    (("entries", 0), [], "invalid"),
    (("entries", 0), {}, "one_act"),
    (("entries", 0, "action"), "clear", "one_act"),
    (("entries", 0, "outcome"), DROP, "required"),
    (("entries", 0, "position"), DROP, "required"),
    (("entries", 0, "outcome"), "passed", "invalid_choice"),
    (("entries", 0, "outcome"), "not_done", "required"),
    (("entries", 0, "why"), "no_part", "why_of_nothing"),
    (("entries", 0, "why"), "tired", "invalid_choice"),
    (("entries", 0, "phase"), "between", "invalid_choice"),
    (("entries", 0, "test"), 5, "invalid"),
    (("entries", 0, "set_psi"), 8, "unknown_field"),
    (("entries", 0, "a/b~c"), 8, "unknown_field"),
    (("entries", 0, "\ud800"), 8, "unknown_field"),
    (("entries", 0, "\x00"), 8, "unknown_field"),
    (("entries", 0, "readings"), [], "not_a_dict"),
    (("entries", 0, "readings"), "good", "not_a_dict"),
    (("entries", 0, "readings"), {f"r{n}": 1 for n in range(61)}, "too_many"),
    (("entries", 0, "readings", "water"), {"runs": True}, "scalar"),
    (("entries", 0, "readings", "water"), ["runs"], "scalar"),
    (("entries", 0, "readings", "water"), "x" * 65, "scalar"),
    (("entries", 0, "readings", "water"), BIG, "scalar"),
    (("entries", 0, "readings", "water"), "a\x00b", "not_text"),
    (("entries", 0, "readings", "water"), "\ud800", "not_text"),
    (("entries", 0, "ref"), "r" * 65, "max_length"),
    (("entries", 0, "performed_at"), "2026-01-12T08:00:00", "no_offset"),
    (("leaving_checks",), True, "invalid"),
    (("leaving_checks",), {"jumpers_off": "yes"}, "invalid"),
    (("leaving_checks",), {"coffee_off": True}, "unknown_field"),
    (("leaving_checks",), {"told": {"name": "Ines"}}, "not_a_list"),
    (("leaving_checks",), {"told": [{"name": "Ines", "mood": "good"}]}, "unknown_field"),
    (("leaving_checks",), {"told": [{"name": "Ines", "at": "2026-01-12T08:00:00"}]}, "no_offset"),
    (("leaving_checks",), {"told": [{"name": "\x00"}]}, "null_characters_not_allowed"),
    (("note",), "a\x00b", "null_characters_not_allowed"),
    (("note",), "\ud800", "surrogate_characters_not_allowed"),
    (("note",), "x" * 4001, "max_length"),
    (("note",), 5, "invalid"),
    (("reason",), "\x00", "null_characters_not_allowed"),
    (("void",), 1, "invalid"),
    (("corrects",), "0198f3c2-7c1e-7b7a-9a54-2f6d3f0c9a11", "required"),
    (("posted_by",), "ines", "unknown_field"),
    (("message",), "x", "unknown_field"),
]
INNER: list[tuple[tuple[str | int, ...], Any, str]] = [
    ((1, "replace"), "new", "invalid"),
    ((1, "replace"), [], "invalid"),
    ((1, "replace", "position"), DROP, "required"),
    ((1, "replace", "with"), DROP, "required"),
    ((1, "replace", "with"), "new", "invalid"),
    ((1, "replace", "with", "kind"), DROP, "required"),
    ((1, "replace", "with", "kind"), 5, "invalid"),
    ((1, "replace", "with", "id"), 5, "invalid"),
    ((1, "replace", "with", "set_psi"), [8], "scalar"),
    ((1, "replace", "with", "reset"), "\x00", "not_text"),
    ((1, "replace", "colour"), "red", "unknown_field"),
    ((1, "position"), "0198f3c2-7c1e-7b7a-9a54-2f6d3f0c9a11", "not_of_this_act"),
    ((1, "readings"), {}, "not_of_this_act"),
    ((2, "set"), 8, "invalid"),
    ((2, "set", "position"), DROP, "required"),
    ((2, "set", "set_psi"), {"psi": 8}, "scalar"),
    ((2, "outcome"), "pass", "not_of_this_act"),
]


def pointer(path: tuple[str | int, ...]) -> str:
    steps = [str(step).replace("~", "~0").replace("/", "~1") for step in path]
    return "".join(f"/{s}" for s in steps).replace("\x00", "\ufffd").replace("\ud800", "\ufffd")


@pytest.mark.parametrize(("path", "value", "code"), SHAPES)
def test_a_wrong_shape_is_refused_with_its_code_and_place(
    path: tuple[str | int, ...], value: Any, code: str, rosa: Phone, fleet: Fleet
) -> None:
    response = rosa.post(but(flush(fleet), *path, to=value))
    faults = told(response)
    assert response.status_code == 400
    assert len(faults) == 1
    assert faults[0][0] == code
    assert faults[0][1].startswith(pointer(path)) or code in ("one_act", "required")


@pytest.mark.parametrize(("path", "value", "code"), INNER)
def test_a_wrong_inner_form_is_refused_with_its_code_and_place(
    path: tuple[str | int, ...], value: Any, code: str, rosa: Phone, fleet: Fleet
) -> None:
    response = rosa.post(but(limit(fleet), "entries", *path, to=value))
    assert (response.status_code, told(response)) == (400, [(code, pointer(("entries", *path)))])


def test_all_faults_of_a_shape_are_told_at_once(rosa: Phone, fleet: Fleet) -> None:
    body = but(limit(fleet), "entries", 0, "outcome", to="fine")
    body = but(body, "entries", 1, "replace", "with", "kind", to=DROP)
    body = but(but(body, "kind", to="party"), "people", 0, "age", to=40)
    assert sorted(told(rosa.post(but(body, "void", to=True)))) == [
        ("invalid_choice", "/entries/0/outcome"),
        ("invalid_choice", "/kind"),
        ("not_a_correction", "/void"),
        ("required", "/entries/1/replace/with/kind"),
        ("unknown_field", "/people/0/age"),
    ]


def test_only_a_correction_can_be_void(rosa: Phone, fleet: Fleet) -> None:
    assert told(rosa.post({**flush(fleet), "entries": [], "void": True})) == [("not_a_correction", "/void")]


def test_a_set_device_tells_faults_of_its_fields_and_of_its_values_together(rosa: Phone, fleet: Fleet) -> None:
    body = but(limit(fleet), "entries", 1, "replace", "with", to={"set_psi": [], "reset": {}})
    assert {code for code, _ in told(rosa.post(body))} == {"required", "scalar"}


def test_fields_called_message_and_code_are_faults_like_others(rosa: Phone, fleet: Fleet) -> None:
    body = but(but(flush(fleet), "message", to=1), "code", to=2)
    assert told(rosa.post(body)) == [("unknown_field", "/message"), ("unknown_field", "/code")]


def test_a_message_repeats_at_most_a_line_of_what_was_sent(rosa: Phone, fleet: Fleet) -> None:
    assert len(rosa.post(but(flush(fleet), "kind", to="x" * 500_000)).content) < 1500


def test_nothing_of_a_refused_visit_is_kept(rosa: Phone, fleet: Fleet) -> None:
    rosa.post(but(flush(fleet), "entries", 1, to={"test": "flush"}))
    assert not Visit.objects.exists()


def test_a_refused_post_frees_its_id(rosa: Phone, fleet: Fleet) -> None:
    body = flush(fleet)
    rosa.post(but(body, "kind", to="party"))
    assert rosa.post(body).status_code == 201
