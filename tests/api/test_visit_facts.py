"""What a visit is refused for although its shape is right: 422 with every fault, or what one may not see: 404."""

from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest

from fleet.accounts.models import Grant, User
from fleet.portfolio.models import Boiler, Building, Device, Portfolio
from fleet.visits.models import Visit
from tests.api.phone import DROP, Phone, but, flush, limit, told
from tests.cast import LONG_AGO, NOW, Fleet, make_person

pytestmark = pytest.mark.django_db
NOWHERE = "b8a2f1de-0000-4000-8000-000000000000"

FLUSH: list[tuple[tuple[str | int, ...], Any, str]] = [
    (("entries", 0, "position"), NOWHERE, "unknown_position"),
    (("entries", 0, "test"), "no_such_test", "unknown_procedure"),
    (("entries", 0, "test"), "\x00", "null_characters_not_allowed"),
    (("entries", 0, "readings", "colour"), "blue", "unknown_reading"),
    (("entries", 0, "readings", "\ud800"), True, "unknown_reading"),
    (("entries", 0, "readings", "a\x00"), True, "unknown_reading"),
    (("entries", 0, "readings", "burner_firing"), 1, "wrong_type"),
    (("entries", 0, "readings", "burner_firing"), "true", "wrong_type"),
    (("entries", 0, "readings", "water"), True, "wrong_type"),
    (("entries", 0, "readings", "water"), "plenty", "unknown_choice"),
    (("performed_at",), "2026-01-12T09:10:01-05:00", "in_the_future"),
    (("performed_at",), "9999-12-31T23:59:59Z", "in_the_future"),
    (("performed_at",), "2019-09-30T23:59:59-04:00", "before_the_boiler"),
    (("performed_at",), "0001-01-01T00:00:00Z", "before_the_boiler"),
    (("entries", 0, "performed_at"), "2026-01-12T09:10:01-05:00", "in_the_future"),
    (("entries", 0, "performed_at"), "2019-09-30T23:59:59-04:00", "before_the_boiler"),
    (("people", 0, "user"), NOWHERE, "unknown_person"),
    (("corrects",), NOWHERE, "unknown_visit"),
]
LIMIT: list[tuple[tuple[str | int, ...], Any, str]] = [
    ((0, "readings", "trip_psi"), 60.1, "not_possible"),
    ((0, "readings", "trip_psi"), -5.1, "not_possible"),
    ((0, "readings", "trip_psi"), 1e11, "not_possible"),
    ((0, "readings", "trip_psi"), True, "wrong_type"),
    ((0, "readings", "trip_psi"), "7.9", "wrong_type"),
    ((1, "replace", "with", "kind"), "siphon", "device_does_not_fit"),
    ((1, "replace", "with", "kind"), "no_such_kind", "device_does_not_fit"),
    ((1, "replace", "with", "capacity_lb_h"), 900, "unknown_value"),
    ((1, "replace", "with", "set_psi"), 1e11, "not_possible"),
    ((1, "replace", "with", "set_psi"), -1, "not_possible"),
    ((1, "replace", "with", "set_psi"), "8", "wrong_type"),
    ((1, "replace", "with", "set_psi"), True, "wrong_type"),
    ((1, "replace", "with", "reset"), 5, "wrong_type"),
    ((1, "replace", "position"), NOWHERE, "unknown_position"),
    ((2, "set", "position"), NOWHERE, "unknown_position"),
    ((2, "set", "set_psi"), None, "wrong_type"),
    ((2, "set", "colour"), "red", "unknown_value"),
    ((2, "set", "\ud800"), "red", "unknown_value"),
    ((2, "set", "fitted_on"), "2026-01-01", "unknown_value"),
]


def pointer(path: tuple[str | int, ...]) -> str:
    return "".join(f"/{step}" for step in path).replace("\x00", "\ufffd").replace("\ud800", "\ufffd")


@pytest.mark.parametrize(("path", "value", "code"), FLUSH)
def test_what_cannot_be_is_refused(
    path: tuple[str | int, ...], value: Any, code: str, rosa: Phone, fleet: Fleet
) -> None:
    body = but(flush(fleet), *path, to=value)
    response = rosa.post({**body, "reason": "typo"} if code == "unknown_visit" else body)
    assert (response.status_code // 100, told(response)) == (4, [(code, pointer(path))])


@pytest.mark.parametrize(("path", "value", "code"), LIMIT)
def test_what_cannot_be_measured_fitted_or_set_is_refused(
    path: tuple[str | int, ...], value: Any, code: str, rosa: Phone, fleet: Fleet
) -> None:
    response = rosa.post(but(limit(fleet), "entries", *path, to=value))
    assert (response.status_code, told(response)) == (422, [(code, pointer(("entries", *path)))])


@pytest.mark.parametrize("reading", [60, -5, 7, None])
def test_a_reading_at_the_edge_of_its_range_or_not_taken_is_accepted(
    reading: float | None, rosa: Phone, fleet: Fleet
) -> None:
    assert rosa.post(but(limit(fleet), "entries", 0, "readings", "trip_psi", to=reading)).status_code == 201


def test_a_set_point_nobody_can_read_may_be_null_on_a_new_device(rosa: Phone, fleet: Fleet) -> None:
    assert rosa.post(but(limit(fleet), "entries", 1, "replace", "with", "set_psi", to=None)).status_code == 201


def test_all_faults_of_the_facts_are_told_at_once(rosa: Phone, fleet: Fleet) -> None:
    body = but(limit(fleet), "entries", 0, "readings", "trip_psi", to=99)
    body = but(body, "entries", 1, "replace", "with", "kind", to="siphon")
    body = but(but(body, "performed_at", to="2026-01-13T08:00:00Z"), "people", 0, "user", to=NOWHERE)
    assert [code for code, _ in told(rosa.post(body))] == [
        "in_the_future",
        "unknown_person",
        "not_possible",
        "device_does_not_fit",
    ]


def test_ten_minutes_ahead_exactly_are_accepted(rosa: Phone, fleet: Fleet) -> None:
    assert rosa.post(but(flush(fleet), "performed_at", to="2026-01-12T09:10:00-05:00")).status_code == 201


def test_the_refusal_of_the_future_tells_the_servers_time(rosa: Phone, fleet: Fleet) -> None:
    response = rosa.post(but(flush(fleet), "performed_at", to="2026-01-12T09:10:01-05:00"))
    assert NOW.isoformat() in response.json()["errors"][0]["message"]


@pytest.mark.parametrize("offset", ["-04:00", "-05:00"])
def test_the_repeated_hour_is_fine_with_either_offset(offset: str, rosa: Phone, fleet: Fleet) -> None:
    assert rosa.post(but(flush(fleet), "performed_at", to=f"2025-11-02T01:30:00{offset}")).status_code == 201


def test_an_hour_the_clocks_skipped_is_an_instant_all_the_same(rosa: Phone, fleet: Fleet) -> None:
    assert rosa.post(but(flush(fleet), "performed_at", to="2025-03-09T02:30:00-05:00")).status_code == 201


def test_entries_out_of_order_in_time_are_refused(rosa: Phone, fleet: Fleet) -> None:
    body = flush(fleet)
    entries = [{**body["entries"][0], "performed_at": f"2026-01-12T08:{minute}:00-05:00"} for minute in (20, 10)]
    assert told(rosa.post({**body, "entries": entries})) == [("out_of_order", "/entries/1/performed_at")]


def test_an_entry_without_a_time_was_done_when_the_one_before_it_was(rosa: Phone, fleet: Fleet) -> None:
    body = but(flush(fleet), "entries", 0, "performed_at", to="2026-01-12T08:20:00-05:00")
    body["entries"].append(but(body["entries"][0], "performed_at", to=DROP))
    assert rosa.post(body).status_code == 201
    assert len(set(Visit.objects.get().entries.values_list("performed_at"))) == 1


def test_a_position_of_another_boiler_is_unknown_here(rosa: Phone, fleet: Fleet) -> None:
    other = str(fleet.bench("ALD12 B2").places["upper"])
    response = rosa.post(but(flush(fleet), "entries", 0, "position", to=other))
    assert told(response) == [("unknown_position", "/entries/0/position")]


@pytest.mark.parametrize(("test", "ref"), [("slow_drain", "valve"), ("lever_lift", "upper"), ("flush", "siphon-1")])
def test_a_procedure_that_fits_nothing_there_is_refused(test: str, ref: str, rosa: Phone, fleet: Fleet) -> None:
    entry = {"test": test, "position": str(fleet.bench().places[ref]), "outcome": "pass"}
    response = rosa.post(but(flush(fleet), "entries", 0, to=entry))
    assert told(response) == [("procedure_does_not_fit", "/entries/0/test")]


def test_a_procedure_for_another_device_than_stands_there_is_accepted_as_no_test(rosa: Phone, fleet: Fleet) -> None:
    # Which device stood there is for the judge: a later post may tell of an earlier replacement.
    response = rosa.post(but(flush(fleet), "entries", 0, "position", to=str(fleet.bench().places["lower"])))
    assert (response.status_code, response.json()["verdicts"][0]["outcome"]) == (201, "not_a_test")


def test_an_observation_that_is_not_made_there_is_refused(rosa: Phone, fleet: Fleet) -> None:
    seen = {"observe": "valve_dripping", "position": str(fleet.bench().places["upper"])}
    assert told(rosa.post(but(flush(fleet), "entries", 0, to=seen))) == [
        ("observation_does_not_fit", "/entries/0/observe")
    ]


@pytest.mark.parametrize("act", ["action", "observe"])
def test_an_action_or_observation_nobody_knows_is_refused(act: str, rosa: Phone, fleet: Fleet) -> None:
    entry = {act: "polish", "position": str(fleet.bench().places["upper"])}
    code = {"action": "unknown_action", "observe": "unknown_observation"}[act]
    assert told(rosa.post(but(flush(fleet), "entries", 0, to=entry))) == [(code, f"/entries/0/{act}")]


def test_a_user_of_another_portfolio_is_nobody_here(rosa: Phone, fleet: Fleet) -> None:
    stranger = make_person("nils", Portfolio.objects.create(ref="ELSE", name="Else"), "technician", "technician")
    response = rosa.post(but(flush(fleet), "people", 0, "user", to=str(stranger.id)))
    assert told(response) == [("unknown_person", "/people/0/user")]


@pytest.mark.parametrize(("after", "status"), [(-1, 422), (0, 422), (1, 201)])
def test_somebody_whose_grant_has_ended_since_was_there_all_the_same(
    after: int, status: int, rosa: Phone, fleet: Fleet
) -> None:
    performed_at = datetime.fromisoformat(flush(fleet)["performed_at"])
    Grant.objects.filter(user=fleet.caretaker).update(until=performed_at + timedelta(seconds=after))
    assert rosa.post(but(flush(fleet), "people", 0, "user", to=str(fleet.caretaker.id))).status_code == status


def test_a_boiler_of_another_portfolio_and_an_unknown_one_are_refused_word_for_word_alike(
    rosa: Phone, fleet: Fleet
) -> None:
    other = Portfolio.objects.create(ref="ELSE", name="Else")
    house = Building.objects.create(portfolio=other, ref="E", address="Elsewhere", zone="UTC")
    boiler = Boiler.objects.create(portfolio=other, building=house, ref="B1", name="Boiler", since=LONG_AGO)
    foreign, unknown = (rosa.post(but(flush(fleet), "boiler", to=str(b))) for b in (boiler.id, uuid4()))
    assert (foreign.status_code, unknown.status_code) == (404, 404)
    assert foreign.content == unknown.content


def test_a_role_that_sees_but_may_not_post_is_refused_with_403(fleet: Fleet) -> None:
    zora = Phone.of(make_person("zora", fleet.portfolio, "office"))
    response = zora.post(flush(fleet))
    assert (response.status_code, told(response)) == (403, [("not_allowed", "")])


def test_a_grant_that_has_ended_leaves_nothing_to_post_to(fleet: Fleet, rosa: Phone) -> None:
    Grant.objects.filter(user=fleet.technician).update(until=NOW)
    assert rosa.post(flush(fleet)).status_code == 404


def test_a_device_id_of_another_portfolio_is_refused(rosa: Phone, fleet: Fleet) -> None:
    taken = Device.objects.create(portfolio=Portfolio.objects.create(ref="E", name="E"), kind_id="limit_control")
    response = rosa.post(but(limit(fleet), "entries", 1, "replace", "with", "id", to=str(taken.id)))
    assert told(response) == [("device_id_taken", "/entries/1/replace/with/id")]


def test_a_device_id_of_another_kind_is_refused(rosa: Phone, fleet: Fleet) -> None:
    taken = Device.objects.create(portfolio=fleet.portfolio, kind_id="siphon")
    response = rosa.post(but(limit(fleet), "entries", 1, "replace", "with", "id", to=str(taken.id)))
    assert told(response) == [("device_id_taken", "/entries/1/replace/with/id")]


def test_a_qualified_failure_called_a_pass_is_accepted_and_judged_a_failure(rosa: Phone, fleet: Fleet) -> None:
    response = rosa.post(but(flush(fleet), "entries", 0, "readings", "burner_stopped", to=False))
    assert (response.status_code, response.json()["verdicts"][0]["outcome"]) == (201, "fail")


def test_the_users_of_other_portfolios_stay_unnamed_in_every_refusal(rosa: Phone, fleet: Fleet) -> None:
    assert User.objects.filter(id=fleet.outsider.id).exists()
    known, unknown = (
        rosa.post(but(flush(fleet), "people", 0, "user", to=str(user))) for user in (fleet.outsider.id, uuid4())
    )
    assert known.content == unknown.content
