"""The file of a paper of others: declared with the paper, sent at any time, checked, kept as sent, never drawn here."""

import hashlib
import io
from typing import Any

import pytest
from django.test import Client
from pypdf import PdfWriter

from fleet.files.models import KeptFile
from fleet.files.pdf_check import NotAPDF, check_pdf
from tests.api.phone import Body, Phone, but, flush, told
from tests.api.test_papers_of_others import PAPER, shop_body
from tests.api.test_photos import declared, picture
from tests.cast import Fleet
from tests.web.conftest import SetClock, clock

pytestmark = pytest.mark.django_db
__all__ = ["clock"]  # the fixture


def pdf(password: str = "", pages: int = 1) -> bytes:
    """A PDF of blank pages, encrypted with a password if one is given."""
    writer = PdfWriter()
    for _ in range(pages):
        writer.add_blank_page(612, 792)
    if password:
        writer.encrypt(password, algorithm="RC4-128")
    written = io.BytesIO()
    writer.write(written)
    return written.getvalue()


def paper_with(content: bytes, kind: str = "application/pdf", **more: Any) -> Body:
    sha256 = hashlib.sha256(content).hexdigest()
    return {**PAPER, "file": {"name": "valve.pdf", "sha256": sha256, "size": len(content), "type": kind, **more}}


def path(content: bytes, end: str = "") -> str:
    return f"/api/v1/paper-files/{hashlib.sha256(content).hexdigest()}/{end}"


def put(phone: Phone, content: bytes, sent: bytes | None = None, **headers: str) -> Any:
    sent = content if sent is None else sent
    return phone.send("PUT", path(content), sent, content_type="application/pdf", headers=headers)


@pytest.fixture
def bram(fleet: Fleet, db: Any) -> Phone:
    return Phone.of(fleet.caretaker)


def post(phone: Phone, fleet: Fleet, content: bytes, **more: Any) -> Any:
    return phone.post({**shop_body(fleet), "paper": paper_with(content, **more)})


def test_a_pdf_is_sent_after_its_paper_and_comes_back_to_the_byte_as_a_file_to_save(fleet: Fleet, bram: Phone) -> None:
    content = pdf()
    assert post(bram, fleet, content).status_code == 201
    assert bram.get(path(content)).json()["kept"] is False
    assert bram.get(path(content, "content/")).status_code == 404
    assert put(bram, content).status_code == 201
    shown = bram.get(path(content, "content/"))
    assert b"".join(shown.streaming_content) == content
    assert shown["Content-Type"] == "application/pdf"
    assert shown["Content-Disposition"].startswith("attachment")
    assert shown["X-Content-Type-Options"] == "nosniff"


def test_it_goes_on_in_pieces_from_where_it_broke_off(fleet: Fleet, bram: Phone) -> None:
    content = pdf(pages=9)
    post(bram, fleet, content)
    half = len(content) // 2
    first = put(bram, content, content[:half], **{"Content-Range": f"bytes 0-{half - 1}/{len(content)}"})
    assert (first.status_code, bram.get(path(content)).json()["received"]) == (202, half)
    rest = {"Content-Range": f"bytes {half}-{len(content) - 1}/{len(content)}"}
    assert put(bram, content, content[half:], **rest).json()["kept"] is True


def test_a_photograph_of_a_paper_is_made_anew(fleet: Fleet, bram: Phone) -> None:
    content = picture()
    post(bram, fleet, content, kind="image/jpeg")
    assert put(bram, content).status_code == 201
    shown = bram.get(path(content, "content/"))
    assert shown["Content-Type"] == "image/jpeg"
    assert b"a telephone" not in b"".join(shown.streaming_content)


def cut_short(content: bytes) -> bytes:
    return content[: len(content) // 2] + b"\n%%EOF\n"


SCRIPT = b"<script>alert(1)</script>"
NO_PDFS = {
    "text": b"%PDF is what this is not",
    "a head and an end alone": b"%PDF-1.7\nnothing\n%%EOF\n",
    "cut short": cut_short(pdf()),
    "without an end": pdf().replace(b"%%EOF", b"     "),
    "something before the head": SCRIPT + pdf(),
    "no page": pdf(pages=0),
    "a picture": picture(),
}


@pytest.mark.parametrize("name", NO_PDFS)
def test_a_pdf_that_is_none_is_refused_in_a_sentence_and_may_be_sent_anew(fleet: Fleet, bram: Phone, name: str) -> None:
    content = NO_PDFS[name]
    post(bram, fleet, content)
    refused = put(bram, content)
    assert (refused.status_code, refused.json()["code"]) == (422, "not_a_pdf")
    assert refused.json()["detail"] == "These bytes are no PDF that can be opened."
    assert KeptFile.objects.get().received == 0


def test_an_encrypted_pdf_is_refused_as_one(fleet: Fleet, bram: Phone) -> None:
    content = pdf("secret")
    post(bram, fleet, content)
    refused = put(bram, content)
    assert (refused.status_code, refused.json()["code"]) == (422, "encrypted_pdf")
    assert "Send one without a password." in refused.json()["detail"]


def test_bytes_with_another_hash_are_refused_and_the_right_ones_taken_after_them(fleet: Fleet, bram: Phone) -> None:
    content = pdf()
    post(bram, fleet, content)
    wrong = put(bram, content, content[:-1] + b"x")
    assert (wrong.status_code, wrong.json()["code"]) == (422, "wrong_hash")
    assert put(bram, content).status_code == 201


def test_60_megabytes_are_refused_when_they_are_declared_and_when_they_are_sent(fleet: Fleet, bram: Phone) -> None:
    refused = bram.post(but(shop_body(fleet), "paper", "file", "size", to=60_000_000))
    assert refused.status_code in (400, 422)
    assert told(refused)[0][1] == "/paper/file/size"
    assert "at most 20 MiB" in refused.json()["errors"][0]["message"]
    content = pdf()
    post(bram, fleet, content)
    assert put(bram, content, b"x" * (1024 * 1024 + 1)).status_code == 413


def test_what_no_paper_declares_and_what_is_anothers_answer_alike(fleet: Fleet, bram: Phone) -> None:
    content, stranger = pdf(), Phone.of(fleet.outsider)
    post(bram, fleet, content)
    put(bram, content)
    for end in ("", "content/"):
        unknown, foreign = stranger.get(path(b"other", end)), stranger.get(path(content, end))
        assert unknown.status_code == foreign.status_code == 404
        assert unknown.json()["title"] == foreign.json()["title"]
    assert put(stranger, content).status_code == 404


def test_a_hash_that_was_declared_as_another_kind_before_does_not_stand_in_the_way(fleet: Fleet, bram: Phone) -> None:
    content = pdf()
    bram.post({**flush(fleet), "photographs": [declared(content)]})
    photo = f"/api/v1/photos/{hashlib.sha256(content).hexdigest()}/"
    start = {"Content-Range": f"bytes 0-9/{len(content)}"}
    assert bram.send("PUT", photo, content[:10], content_type="image/jpeg", headers=start).status_code == 202
    post(bram, fleet, content)
    assert put(bram, content).status_code == 201
    assert bram.get(photo).json()["kept"] is False
    assert bram.get(f"{photo}picture.jpg").status_code == 404


def test_a_reader_that_runs_without_end_is_stopped(monkeypatch: pytest.MonkeyPatch, tmp_path: Any) -> None:
    endless = tmp_path / "endless.py"
    endless.write_text("while True: pass")
    monkeypatch.setattr("fleet.files.pdf_check.READER_PATH", endless)
    monkeypatch.setattr("fleet.files.pdf_check.MAX_WAIT_SECONDS", 0.3)
    with pytest.raises(NotAPDF):
        check_pdf(pdf())


def test_visit_and_boiler_show_the_file_once_it_is_kept(fleet: Fleet, bram: Phone, clock: SetClock) -> None:
    content, client = pdf(), Client()
    visit = post(bram, fleet, content).json()["visit"]
    client.force_login(fleet.technician)
    pages = f"/visits/{visit}/", f"/boilers/{fleet.bench().boiler.id}/"
    assert all("valve.pdf, not kept here yet" in client.get(page).text for page in pages)
    put(bram, content)
    link = f'<a href="{path(content, "content/")}">valve.pdf</a>'
    assert all(link in client.get(page).text for page in pages)
