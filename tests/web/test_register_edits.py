"""Editing the register: facts are added, names are edited, nobody's work is lost, and the log says who did it."""

from collections.abc import Iterator
from typing import Any

import pytest
from django.test import Client

from fleet import pipeline
from fleet.portfolio.models import Boiler, Building, Fitting, Paper, Position, ServiceState, Setting
from tests import kept
from tests.cast import NOW, Fleet, make_fleet
from tests.web.desk import form_of, newest, place, send
from tests.web.test_board import read

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def fleet(django_db_setup: Any, django_db_blocker: Any) -> Iterator[Fleet]:
    """Made once; what each test does to it is rolled back."""
    with kept.made_for_a_file(django_db_blocker, make_fleet) as made:
        yield made


@pytest.fixture
def boiler(fleet: Fleet) -> Boiler:
    return fleet.bench().boiler


@pytest.fixture
def address(boiler: Boiler) -> str:
    return f"/register/boilers/{boiler.id}/"


def test_a_boiler_is_renamed_and_the_log_says_by_whom(ines: Client, boiler: Boiler, address: str) -> None:
    response = send(ines, address, "name", boiler_name="North boiler")
    assert (response.status_code, response["Location"]) == (302, f"{address}#name")
    assert newest() == ("ines", "register.renamed", "Boiler 1", "North boiler")
    body = read(ines, address)
    assert "“Boiler 1” is now called “North boiler”." in body
    assert pipeline.rebuild(at=NOW) == 0


@pytest.mark.parametrize(
    ("field", "value", "column"), [("address", "14 Alder Terrace", "address"), ("units", "40", "units")]
)
def test_a_buildings_facts_are_edited(field: str, value: str, column: str, ines: Client, boiler: Boiler) -> None:
    address = f"/register/buildings/{boiler.building_id}/"
    assert send(ines, address, "facts", **{field: value}).status_code == 302
    assert str(getattr(Building.objects.get(id=boiler.building_id), column)) == value
    assert value in read(ines, address)


def test_a_fault_beside_a_field_names_it_in_the_words_of_its_label(ines: Client, boiler: Boiler) -> None:
    response = send(ines, f"/register/buildings/{boiler.building_id}/", "facts", address="")
    assert '-fault">Address is empty.' in response.content.decode()


def test_access_hours_that_are_none_are_said_beside_their_field(ines: Client, boiler: Boiler) -> None:
    address = f"/register/buildings/{boiler.building_id}/"
    response = send(ines, address, "facts", access_hours="whenever")
    body = response.content.decode()
    assert response.status_code == 422
    assert 'id="facts-access_hours-fault"' in body
    assert 'value="whenever"' in body


def test_a_set_point_holds_from_its_day_on(fleet: Fleet, ines: Client, address: str) -> None:
    limit = place(fleet, "limit")
    assert send(ines, address, f"value-{limit.id}", key="set_psi", value="9", day="2026-01-05").status_code == 302
    setting = Setting.objects.get(position=limit, key="set_psi")
    assert (setting.value, setting.since.isoformat()) == (9.0, "2026-01-05T05:00:00+00:00")
    assert newest() == ("ines", "register.set", "8 psi", "9 psi")
    assert "9 psi" in read(ines, address)


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"key": "set_psi", "value": "soft"}, "value"),
        ({"key": "set_psi", "value": "8"}, "value"),  # as it is
        ({"key": "set_psi", "value": ""}, "value"),
        ({"key": "set_psi", "value": "9", "day": "2018-01-01"}, "day"),
        ({"key": "set_psi", "value": "9", "day": "2028-01-01"}, "day"),
        ({"key": "set_psi", "value": "9", "day": "soon"}, "day"),
        ({"key": "capacity_lb_h", "value": "9"}, "key"),
    ],
)
def test_a_value_that_cannot_be_is_refused_beside_its_field(
    fields: dict[str, str], field: str, fleet: Fleet, ines: Client, address: str
) -> None:
    key = f"value-{place(fleet, 'limit').id}"
    response = send(ines, address, key, **fields)
    assert response.status_code == 422
    assert f'id="{key}-{field}-fault"' in response.content.decode()
    assert not Setting.objects.filter(position=place(fleet, "limit"), key="set_psi").exists()


def test_a_boilers_output_is_set_from_now_on(ines: Client, boiler: Boiler, address: str) -> None:
    assert send(ines, address, "value", key="output_btu_h", value="900000").status_code == 302
    assert Setting.objects.filter(boiler=boiler, key="output_btu_h").latest("since").since == NOW


def test_a_boiler_is_laid_up_from_a_day_on(ines: Client, boiler: Boiler, address: str) -> None:
    assert send(ines, address, "service", state="laid_up_dry", day="2026-01-10").status_code == 302
    assert ServiceState.objects.get(boiler=boiler).state == "laid_up_dry"
    assert newest() == ("ines", "register.service", "in_service", "laid_up_dry")
    assert send(ines, address, "service", state="laid_up_dry").status_code == 422


def test_a_device_is_replaced_and_the_old_ones_values_go_with_it(fleet: Fleet, ines: Client, address: str) -> None:
    limit = place(fleet, "limit")
    sent = send(ines, address, f"fit-{limit.id}", kind="limit_control", fitted_on="2026-01-09", reset="manual")
    assert sent.status_code == 302
    device = Fitting.objects.filter(position=limit).latest("since").device
    assert device is not None
    assert (device.attributes, newest()[1]) == ({"reset": "manual"}, "register.fitted")
    assert "fitted Fri 09 Jan 2026" in read(ines, address)


def test_a_device_is_removed_and_another_fitted(fleet: Fleet, ines: Client, address: str) -> None:
    valve = place(fleet, "valve")
    assert send(ines, address, f"remove-{valve.id}", day="2026-01-11").status_code == 302
    assert newest() == ("ines", "register.removed", "safety_valve", "")
    assert "Nothing is fitted." in read(ines, address)
    again = send(ines, address, f"fit-{valve.id}", kind="safety_valve", fitted_on="2026-01-12", set_psi="15")
    assert (again.status_code, Fitting.objects.filter(position=valve).count()) == (302, 3)


def test_a_place_is_added_with_its_path(fleet: Fleet, ines: Client, boiler: Boiler, address: str) -> None:
    fields = {"position_ref": "gauge-2", "position_name": "second gauge", "role": "gauge", "hangs_on": "siphon-1"}
    assert send(ines, address, "place", **fields).status_code == 302
    made = Position.objects.get(boiler=boiler, ref="gauge-2")
    assert (made.name, made.settings.get(key="paths").value) == (
        "second gauge",
        [str(fleet.bench().places["siphon-1"])],
    )
    twice = send(ines, address, "place", **fields)
    assert twice.status_code == 422
    assert 'id="place-position_ref-fault"' in twice.content.decode()


def test_a_path_that_is_not_there_is_refused(fleet: Fleet, ines: Client, address: str) -> None:
    key = f"paths-{place(fleet, 'limit').id}"
    response = send(ines, address, key, hangs_on="siphon-9")
    assert response.status_code == 422
    assert "No position &#x27;siphon-9&#x27;" in response.content.decode()


def test_a_boiler_is_added_to_a_building_and_a_building_to_a_portfolio(
    fleet: Fleet, ines: Client, boiler: Boiler
) -> None:
    address = f"/register/buildings/{boiler.building_id}/"
    fields = {"boiler_ref": "B3", "boiler_name": "Boiler 3", "since": "2026-01-02"}
    assert send(ines, address, "boiler", **fields).status_code == 302
    assert send(ines, address, "boiler", **fields).status_code == 422
    made = {**form_of(read(ines, "/register/"), "building"), "building_ref": "NEW1", "address": "1 New Lane"}
    assert ines.post("/register/add/", made)["Location"] == "/register/?q=NEW1"
    assert Boiler.objects.filter(building__ref="NEW1", ref="B1").exists()
    assert ines.post("/register/add/", made).status_code == 422


def test_a_place_can_be_added_to_a_boiler_that_had_none(fleet: Fleet, ines: Client, boiler: Boiler) -> None:
    fields = {"boiler_ref": "B3", "boiler_name": "Boiler 3", "since": "2026-01-02"}
    send(ines, f"/register/buildings/{boiler.building_id}/", "boiler", **fields)
    third = f"/register/boilers/{Boiler.objects.get(ref='B3').id}/"
    assert "No place is on record." in read(ines, third)
    fields = {"position_ref": "limit", "position_name": "high limit", "role": "high_limit"}
    assert send(ines, third, "place", **fields).status_code == 302
    assert Position.objects.filter(boiler__ref="B3").count() == 1


def test_a_paper_is_added_to_a_boiler_and_to_a_building(ines: Client, boiler: Boiler, address: str) -> None:
    fields = {"kind": "certificate", "name": "Certificate", "since": "2026-01-02", "until": "2027-01-01"}
    building = f"/register/buildings/{boiler.building_id}/"
    assert send(ines, address, "paper", **fields).status_code == 302
    assert send(ines, building, "paper", **{**fields, "kind": "permit"}).status_code == 302
    assert list(Paper.objects.order_by("kind").values_list("boiler", flat=True)) == [boiler.id, None]
    assert "Fri 01 Jan 2027" in read(ines, building)
    assert send(ines, address, "paper", **{**fields, "until": "2025-01-01"}).status_code == 422


def test_two_who_looked_at_the_same_page_do_not_lose_each_others_work(fleet: Fleet, ines: Client, address: str) -> None:
    page, limit = read(ines, address), place(fleet, "limit")
    sends: list[tuple[str, dict[str, str]]] = [
        ("name", {"boiler_name": "North boiler"}),
        (f"value-{limit.id}", {"key": "set_psi", "value": "9"}),
        ("service", {"state": "isolated"}),
        (f"fit-{limit.id}", {"fitted_on": "2026-01-09"}),
        (f"name-{limit.id}", {"position_name": "limit at the back"}),
        (f"paths-{limit.id}", {"hangs_on": "siphon-1"}),
    ]
    for key, fields in sends:
        assert send(ines, address, key, page=page, **fields).status_code == 302, key
    for key, fields in sends:
        response = send(ines, address, key, page=page, **{n: f"{v}0" if v == "9" else v for n, v in fields.items()})
        assert response.status_code == 412
        assert "Somebody changed this in the meantime" in response.content.decode()


def test_a_form_nobody_has_is_not_found(ines: Client, address: str) -> None:
    assert ines.post(f"{address}change/", {"form": "nothing"}).status_code == 404


def test_every_edit_leaves_one_change_on_the_page_of_its_building(ines: Client, boiler: Boiler, address: str) -> None:
    send(ines, address, "name", boiler_name="North boiler")
    send(ines, address, "service", state="isolated")
    body = read(ines, f"/register/buildings/{boiler.building_id}/").split('id="history"')[1]
    assert body.count('<td data-label="By">ines</td>') == 2
    assert "North boiler is isolated from now on." in body
