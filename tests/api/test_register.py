"""The register through the API: a sheet out, a sheet in by two steps, who may, how large; lists as tables."""

import csv
import io
import json
import time
from typing import Any
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.test.client import encode_multipart
from openpyxl import load_workbook
from rest_framework.response import Response

from api.http.tables import CSVRenderer, XLSXRenderer, flatten_value, table_rows_of
from fleet import pipeline
from fleet.accounts.models import Grant, User
from fleet.portfolio.models import Boiler, Import, Portfolio
from fleet.sheets.table_output import CSV_TYPE, XLSX_TYPE
from tests.api.phone import Phone, told
from tests.cast import NOW, Fleet, make_person
from tests.portfolio.books import book, cells, saved
from tests.portfolio.sheets import LIMIT, row, sheet
from tests.portfolio.streets import as_csv
from tests.portfolio.test_workbook import bomb

pytestmark = pytest.mark.django_db
MEGA = 1024 * 1024
NEW = {"building_ref": "NEW1", "address": "1 New Lane"}
SHEET = sheet(row(**NEW), row(**{**LIMIT, **NEW})).encode()


@pytest.fixture
def ines(fleet: Fleet, db: Any) -> Phone:
    """The office."""
    return Phone.of(make_person("ines", fleet.portfolio, "office"))


@pytest.fixture
def base(fleet: Fleet) -> str:
    return f"/api/v1/portfolios/{fleet.portfolio.id}/register/"


def hand_in(phone: Phone, base: str, content: bytes = SHEET, content_type: str = CSV_TYPE, **more: Any) -> Any:
    return phone.send("POST", f"{base}imports/", content, content_type=content_type, **more)


def confirm(phone: Phone, base: str, made: Any, verb: str = "confirm", version: int | None = None) -> Any:
    tag = {"If-Match": f'"{version or made["version"]}"'}
    return phone.send("POST", f"{base}imports/{made['id']}/{verb}/", headers=tag)


def body(response: Any) -> bytes:
    return b"".join(response.streaming_content)


def test_a_sheet_goes_in_by_two_steps(ines: Phone, base: str) -> None:
    response = hand_in(ines, base)
    made = response.json()
    assert response.status_code == 201
    assert made["status"] == "ready"
    assert response["ETag"] == f'"{made["version"]}"'
    assert response["Location"].endswith(f"{base}imports/{made['id']}/")
    assert not Boiler.objects.filter(building__ref="NEW1").exists()
    saved_one = confirm(ines, base, made)
    assert (saved_one.status_code, saved_one.json()["status"]) == (200, "saved")
    assert Boiler.objects.filter(building__ref="NEW1").count() == 1


def fault_codes(phone: Phone, base: str, content: bytes, content_type: str) -> list[str]:
    """The faults of a sheet, after a worker has read it where it is large."""
    made = hand_in(phone, base, content, content_type).json()
    pipeline.work_on_imports(at=NOW)
    made = phone.get(f"{base}imports/{made['id']}/").json()
    assert made["status"] == "faulty"
    return [fault["code"] for fault in made["report"]["faults"]]


def test_a_workbook_that_unpacks_to_a_lot_is_a_fault_and_soon(ines: Phone, base: str) -> None:
    begun = time.process_time()
    assert fault_codes(ines, base, bomb(40 * MEGA), XLSX_TYPE) == ["zip_bomb"]
    assert time.process_time() - begun < 5


def test_a_hundred_thousand_columns_are_a_fault_and_soon(ines: Phone, base: str) -> None:
    begun = time.process_time()
    assert fault_codes(ines, base, b"c," * 100_000, CSV_TYPE) == ["too_many_columns"]
    assert time.process_time() - begun < 3


def test_the_report_is_read_line_by_line(ines: Phone, base: str) -> None:
    made = hand_in(ines, base).json()
    lines = ines.get(f"{base}imports/{made['id']}/lines/").json()
    assert [line["row"] for line in lines["items"]] == [2, 3]
    assert lines["more"] is False
    assert lines["items"][0]["does"][0] == {"what": "building", "sentence": "1 New Lane is a new building."}
    missing = ines.get(f"{base}imports/{made['id']}/lines/?part=missing").json()["items"]
    assert len(missing) == Boiler.objects.count()


def test_the_lines_are_a_table_too(ines: Phone, base: str) -> None:
    made = hand_in(ines, base).json()
    response = ines.get(f"{base}imports/{made['id']}/lines/?as=csv")
    lines = list(csv.DictReader(io.StringIO(response.content.decode("utf-8-sig"))))
    assert ([line["position"] for line in lines], response["Content-Type"]) == (["chamber", "limit"], CSV_TYPE)
    assert 'filename="register-import-lines.csv"' in response["Content-Disposition"]


def test_a_workbook_goes_in_raw_and_as_a_form(ines: Phone, base: str) -> None:
    content = saved(book(cells(**NEW)))
    raw = hand_in(ines, base, content, XLSX_TYPE)
    assert (raw.status_code, raw.json()["status"]) == (201, "ready")
    form = encode_multipart("line", {"file": SimpleUploadedFile("street.xlsx", content)})
    sent = hand_in(ines, base, form, "multipart/form-data; boundary=line").json()
    assert sent["name"] == "street.xlsx"
    assert sent["sha256"] == raw.json()["sha256"]
    assert sent["status"] == "ready"


@pytest.mark.parametrize("files", [{}, {"a": b"1", "b": b"2"}])
def test_a_form_has_one_file(files: dict[str, bytes], ines: Phone, base: str) -> None:
    form = encode_multipart("line", {n: SimpleUploadedFile(n, data) for n, data in files.items()})
    assert told(hand_in(ines, base, form, "multipart/form-data; boundary=line")) == [("required", "")]


def test_faults_come_with_row_and_column_and_the_import_cannot_be_confirmed(ines: Phone, base: str) -> None:
    made = hand_in(ines, base, sheet(row(**NEW, zone="Nowhere")).encode()).json()
    assert made["status"] == "faulty"
    assert made["report"]["faults"][0]["row"] == 2
    assert made["report"]["faults"][0]["letter"] == "C"
    refused = confirm(ines, base, made)
    assert (refused.status_code, told(refused)[0][0]) == (409, "not_now")


def test_a_large_file_is_answered_202_and_brought_on_by_a_worker(ines: Phone, base: str) -> None:
    response = hand_in(ines, base, as_csv(40))
    assert (response.status_code, response.json()["status"]) == (202, "reading")
    pipeline.work_on_imports(at=NOW)
    made = ines.get(f"{base}imports/{response.json()['id']}/").json()
    assert made["status"] == "ready"
    assert made["done"] == 0
    assert made["report"]["rows"] == 840
    assert confirm(ines, base, made).status_code == 202


@pytest.mark.parametrize(("size", "status"), [(20 * MEGA, 202), (20 * MEGA + 1, 413)])
def test_a_file_has_at_most_twenty_mebibytes(size: int, status: int, ines: Phone, base: str) -> None:
    assert hand_in(ines, base, b"x" * size).status_code == status
    form = encode_multipart("line", {"file": SimpleUploadedFile("a.csv", b"x" * (size + 20_000 * (size % 2)))})
    assert hand_in(ines, base, form, "multipart/form-data; boundary=line").status_code == status


@pytest.mark.parametrize("content_type", ["application/json", "text/plain", "application/zip", ""])
def test_another_type_is_refused(content_type: str, ines: Phone, base: str) -> None:
    assert hand_in(ines, base, content_type=content_type).status_code == 415


def test_a_version_is_named_and_right(ines: Phone, base: str) -> None:
    made = hand_in(ines, base).json()
    bare = ines.send("POST", f"{base}imports/{made['id']}/confirm/")
    assert (bare.status_code, confirm(ines, base, made, version=made["version"] + 1).status_code) == (428, 412)
    withdrawn = confirm(ines, base, made, "withdraw")
    assert (withdrawn.json()["status"], confirm(ines, base, made).status_code) == ("withdrawn", 409)


def test_the_same_post_again_under_its_key_is_one_import(ines: Phone, base: str) -> None:
    key = {"Idempotency-Key": f'"{uuid4()}"'}
    first, again = (hand_in(ines, base, headers=dict(key)) for _ in range(2))
    assert (first.json()["id"], Import.objects.count()) == (again.json()["id"], 1)


@pytest.mark.parametrize("role", ["technician", "caretaker", "dispatcher", "inspector"])
def test_who_only_sees_the_register_exports_and_does_not_import(role: str, fleet: Fleet, base: str) -> None:
    phone = Phone.of(make_person("pat", fleet.portfolio, role))
    assert phone.get(f"{base}?as=csv").status_code == 200
    assert (hand_in(phone, base).status_code, phone.get(f"{base}imports/{uuid4()}/").status_code) == (403, 403)


def test_an_outsider_finds_nothing(fleet: Fleet, base: str) -> None:
    phone = Phone.of(fleet.outsider)
    answers = [phone.get(f"{base}?as=csv"), hand_in(phone, base), phone.get(f"{base}imports/{uuid4()}/")]
    assert {a.status_code for a in answers} == {404}
    assert len({a.content for a in answers}) == 1


def test_an_import_of_another_portfolio_is_not_found_here(fleet: Fleet, ines: Phone, base: str) -> None:
    made = hand_in(ines, base).json()
    other = Portfolio.objects.create(ref="ELSE", name="Elsewhere")
    Grant.objects.create(user=User.objects.get(username="ines"), portfolio=other, role="office")
    assert ines.get(f"/api/v1/portfolios/{other.id}/register/imports/{made['id']}/").status_code == 404


def test_the_register_goes_out_as_csv_and_xlsx_and_comes_back_with_nothing_to_do(ines: Phone, base: str) -> None:
    for ask in (f"{base}?as=csv", f"{base}?as=xlsx"):
        response = ines.get(ask)
        content = body(response)
        made = hand_in(ines, base, content, response["Content-Type"]).json()
        if made["status"] == "reading":
            pipeline.work_on_imports(at=NOW)
            made = ines.get(f"{base}imports/{made['id']}/").json()
        assert made["status"] == "ready"
        assert made["report"]["changes"] == 0
        assert made["report"]["missing"] == 0


def test_the_form_goes_by_accept_where_it_is_not_named(ines: Phone, base: str) -> None:
    response = ines.send("GET", base, headers={"Accept": XLSX_TYPE})
    assert load_workbook(io.BytesIO(body(response))).active["A1"].value == "portfolio_ref"
    assert 'filename="SORRELGATE-register.xlsx"' in response["Content-Disposition"]


def test_an_empty_example_has_every_column(ines: Phone, base: str) -> None:
    names = body(ines.get(f"{base}?as=csv&example=yes")).decode("utf-8-sig").splitlines()[0].split(",")
    assert {"building_ref", "set_psi", "end_of_life", "hangs_on"} <= set(names)


def test_a_form_that_is_not_offered_is_not_found_and_a_strange_question_refused(ines: Phone, base: str) -> None:
    assert (ines.get(f"{base}?as=pdf").status_code, ines.get(f"{base}?as=csv&what=1").status_code) == (404, 400)


def test_without_a_key_nothing_is_told(base: str) -> None:
    assert Client().get(f"{base}?as=csv").status_code == 401


# Any list as a table.


def test_what_is_nested_lies_flat() -> None:
    item = {"id": 1, "at": {"zone": "UTC", "day": {"n": 2}}, "codes": ["a", None], "rows": [{"x": 1}], "none": None}
    assert flatten_value(item) == {
        "id": 1,
        "at.zone": "UTC",
        "at.day.n": 2,
        "codes": "a; ",
        "rows": '[{"x": 1}]',
        "none": None,
    }


@pytest.mark.parametrize(
    ("data", "rows"),
    [
        ({"items": [{"a": 1}, {"b": 2}], "next": None}, [["a", "b"], [1, None], [None, 2]]),
        ([{"a": "=1"}], [["a"], ["=1"]]),
        ({"items": []}, [[]]),
        ({"a": 1}, [["a"], [1]]),
        (None, [[]]),
        (["x"], [["value"], ["x"]]),
    ],
)
def test_a_list_is_its_rows_under_their_names(data: Any, rows: list[list[Any]]) -> None:
    assert list(table_rows_of(data)) == rows


def test_a_table_guards_formulas_in_both_forms() -> None:
    data = {"items": [{"name": "=1+1", "count": -3}]}
    response = Response()
    text = CSVRenderer().render(data, None, {"response": response}).decode("utf-8-sig")
    assert (text, response["Content-Disposition"]) == ("name,count\r\n'=1+1,-3\r\n", 'attachment; filename="list.csv"')
    active = load_workbook(io.BytesIO(XLSXRenderer().render(data))).active
    assert active["A2"].value == "=1+1"
    assert active["A2"].data_type == "s"
    assert active["B2"].value == -3


def test_a_problem_is_json_whatever_was_asked_for(ines: Phone, base: str) -> None:
    response = ines.get(f"{base}imports/{uuid4()}/lines/?as=csv")
    assert (response.status_code, json.loads(response.content)["code"]) == (404, "not_found")
