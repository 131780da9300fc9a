"""Photographs: declared with the visit, sent at any time and in pieces, made anew, shown to who may see the visit."""

import hashlib
import io
import struct
from typing import Any

import pytest
from PIL import ExifTags, Image

from fleet.files.models import FilePiece, KeptFile
from fleet.files.pictures import MAX_EDGE, NotAPicture, remake_picture
from fleet.visits.models import Photograph
from tests.api.phone import Phone, flush, told
from tests.cast import Fleet

pytestmark = pytest.mark.django_db
PIECE = 4_000


def picture(width: int = 640, height: int = 480, form: str = "JPEG", *, turned: bool = False) -> bytes:
    """A picture with the place where it was taken, and with noise, so that it has some bytes."""
    image = Image.effect_noise((width, height), 60).convert("RGB")
    exif = Image.Exif()
    exif[ExifTags.Base.Make] = "a telephone"
    if turned:
        exif[ExifTags.Base.Orientation] = 6
    exif.get_ifd(ExifTags.IFD.GPSInfo)[ExifTags.GPS.GPSLatitude] = (40.0, 41.0, 21.0)
    written = io.BytesIO()
    image.save(written, form, exif=exif)
    return written.getvalue()


def digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def declared(content: bytes, kind: str = "image/jpeg", **more: Any) -> dict[str, Any]:
    return {"sha256": digest(content), "size": len(content), "type": kind, **more}


def path(content: bytes) -> str:
    return f"/api/v1/photos/{digest(content)}/"


def send(phone: Phone, content: bytes, start: int = 0, end: int | None = None, **headers: str) -> Any:
    piece = content[start:end]
    if len(piece) < len(content):
        headers["Content-Range"] = f"bytes {start}-{start + len(piece) - 1}/{len(content)}"
    return phone.send("PUT", path(content), piece, content_type="image/jpeg", headers=headers)


def post(phone: Phone, fleet: Fleet, *photographs: dict[str, Any]) -> Any:
    return phone.post({**flush(fleet), "photographs": list(photographs)})


def test_a_photograph_of_an_entry_is_sent_after_its_visit_and_can_be_looked_at(rosa: Phone, fleet: Fleet) -> None:
    content = picture()
    assert post(rosa, fleet, declared(content, entry=0)).status_code == 201
    assert rosa.get(path(content)).json() == {
        "sha256": digest(content),
        "size": len(content),
        "received": 0,
        "kept": False,
    }
    assert rosa.get(f"{path(content)}picture.jpg").status_code == 404
    assert send(rosa, content).status_code == 201
    shown = rosa.get(f"{path(content)}picture.jpg")
    assert shown["Content-Type"] == "image/jpeg"
    assert shown["Content-Disposition"].startswith("attachment")
    assert shown["X-Content-Type-Options"] == "nosniff"
    assert Photograph.objects.get().entry.code == "flush"  # type: ignore[union-attr]
    with Image.open(io.BytesIO(b"".join(shown.streaming_content))) as image:
        assert image.size == (640, 480)


def test_in_what_is_shown_nothing_says_where_and_with_what_it_was_taken(rosa: Phone, fleet: Fleet) -> None:
    content = picture()
    with Image.open(io.BytesIO(content)) as sent:
        assert sent.getexif().get_ifd(ExifTags.IFD.GPSInfo)
    post(rosa, fleet, declared(content))
    send(rosa, content)
    shown = b"".join(rosa.get(f"{path(content)}picture.jpg").streaming_content)
    with Image.open(io.BytesIO(shown)) as image:
        assert dict(image.getexif()) == {}
        assert "exif" not in image.info
    assert b"a telephone" not in shown


def test_it_goes_on_in_pieces_from_where_it_broke_off(rosa: Phone, fleet: Fleet) -> None:
    content = picture()
    post(rosa, fleet, declared(content))
    first = send(rosa, content, 0, PIECE)
    assert (first.status_code, first.json()["received"]) == (202, PIECE)
    assert rosa.get(path(content)).json()["received"] == PIECE
    again = send(rosa, content, 0, PIECE)
    assert (again.status_code, again.json()["received"]) == (202, PIECE)
    gap = send(rosa, content, 2 * PIECE, 3 * PIECE)
    assert gap.status_code == 409
    assert told(gap)[0][0] == "piece_out_of_order"
    for start in range(PIECE, len(content), PIECE):
        last = send(rosa, content, start, start + PIECE)
    assert (last.status_code, last.json()["kept"]) == (201, True)
    assert FilePiece.objects.count() == 0
    assert send(rosa, content).json()["kept"]


def test_bytes_with_another_hash_are_dropped_and_may_be_sent_anew(rosa: Phone, fleet: Fleet) -> None:
    content = picture()
    post(rosa, fleet, declared(content))
    wrong = rosa.send("PUT", path(content), content[:-1] + b"x", content_type="image/jpeg")
    assert wrong.status_code == 422
    assert told(wrong)[0][0] == "wrong_hash"
    assert KeptFile.objects.get().received == 0
    assert send(rosa, content).status_code == 201


@pytest.mark.parametrize(
    ("content", "kind"),
    [
        (b"%PDF-1.7 this is no picture", "image/jpeg"),
        (b"\xff\xd8\xff\xe0" + b"\0" * 400, "image/jpeg"),
        (picture(64, 64, "PNG"), "image/jpeg"),
        (picture(64, 64)[:300], "image/jpeg"),
        (b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>", "image/png"),
    ],
    ids=["document", "broken", "another type", "cut off", "drawing"],
)
def test_what_is_no_picture_is_refused_with_a_sentence(rosa: Phone, fleet: Fleet, content: bytes, kind: str) -> None:
    post(rosa, fleet, declared(content, kind))
    response = send(rosa, content)
    assert response.status_code == 422
    assert response.json()["errors"][0]["message"] == f"These bytes are no picture of type {kind}."


def test_a_small_file_that_unpacks_to_a_huge_picture_is_refused() -> None:
    written = io.BytesIO()
    Image.new("1", (30_000, 30_000)).save(written, "PNG")
    assert len(written.getvalue()) < 200_000
    with pytest.raises(NotAPicture):
        remake_picture(written.getvalue(), "image/png")


def test_a_picture_whose_tags_are_of_a_wrong_kind_is_refused_like_any_other_broken_one() -> None:
    turned = struct.pack(">HHI4s", ExifTags.Base.Orientation, 3, 1, b"\x00\x06\x00\x00")
    word_for_a_number = struct.pack(">HHI4s", ExifTags.Base.XResolution, 2, 3, b"ab\x00\x00")
    tags = b"Exif\0\0MM\0*" + struct.pack(">IH", 8, 2) + turned + word_for_a_number + bytes(4)
    written = io.BytesIO()
    Image.new("RGB", (8, 4)).save(written, "JPEG", exif=tags)
    with pytest.raises(NotAPicture):
        remake_picture(written.getvalue(), "image/jpeg")


def test_a_large_picture_is_made_smaller_and_a_turned_one_upright() -> None:
    made = remake_picture(picture(3000, 1000, turned=True), "image/jpeg")
    assert (made.width, made.height) == (round(MAX_EDGE / 3), MAX_EDGE)


def test_60_megabytes_are_refused_when_they_are_declared(rosa: Phone, fleet: Fleet) -> None:
    response = post(rosa, fleet, {"sha256": "a" * 64, "size": 60_000_000, "type": "image/jpeg"})
    assert response.status_code == 400
    assert told(response)[0][1] == "/photographs/0/size"


def test_a_piece_over_a_mebibyte_is_refused(rosa: Phone, fleet: Fleet) -> None:
    content = b"x" * (1024 * 1024 + 1)
    post(rosa, fleet, declared(content))
    assert send(rosa, content).status_code == 413


@pytest.mark.parametrize(
    ("wrong", "pointer"),
    [
        ({"sha256": "A" * 64, "size": 9, "type": "image/jpeg"}, "/photographs/0/sha256"),
        ({"sha256": "a" * 64, "size": 9, "type": "image/jpeg", "entry": 7}, "/photographs/0/entry"),
        ({"sha256": "a" * 64, "size": 9, "type": "image/svg+xml"}, "/photographs/0/type"),
        ({"sha256": "a" * 64, "size": 0, "type": "image/jpeg"}, "/photographs/0/size"),
    ],
)
def test_what_is_wrong_with_a_declaration_is_told_at_its_place(
    rosa: Phone, fleet: Fleet, wrong: dict[str, Any], pointer: str
) -> None:
    response = post(rosa, fleet, wrong)
    assert response.status_code in (400, 422)
    assert [place for _, place in told(response)] == [pointer]


@pytest.mark.parametrize("header", ["bytes 0-9", "bytes 5-2/100", "items 0-9/100", "bytes 0-3/100"])
def test_a_range_that_does_not_say_what_is_sent_is_refused(rosa: Phone, fleet: Fleet, header: str) -> None:
    content = picture()
    post(rosa, fleet, declared(content))
    response = send(rosa, content, **{"Content-Range": header})
    assert response.status_code == 400


def test_what_no_visit_declares_and_what_is_anothers_answer_alike(rosa: Phone, fleet: Fleet) -> None:
    content, stranger = picture(), Phone.of(fleet.outsider)
    post(rosa, fleet, declared(content))
    send(rosa, content)
    unknown = stranger.get(f"/api/v1/photos/{'0' * 64}/")
    foreign = stranger.get(path(content))
    assert unknown.status_code == foreign.status_code == 404
    assert unknown.json()["title"] == foreign.json()["title"]
    assert stranger.get(f"{path(content)}picture.jpg").status_code == 404
    assert send(stranger, content).status_code == 404


def test_the_same_visit_with_other_photographs_is_other_content(rosa: Phone, fleet: Fleet) -> None:
    body = {**flush(fleet), "photographs": [declared(picture())]}
    assert rosa.post(body).status_code == 201
    assert rosa.post(body).status_code == 200
    assert rosa.post({**body, "photographs": []}).status_code == 409


def test_the_facts_of_a_visit_name_its_photographs_and_what_has_arrived(rosa: Phone, fleet: Fleet) -> None:
    content = picture()
    visit = post(rosa, fleet, declared(content, entry=0)).json()["visit"]
    waiting = rosa.get(f"/api/v1/visits/{visit}/facts/").json()["photographs"]
    send(rosa, content)
    arrived = rosa.get(f"/api/v1/visits/{visit}/facts/").json()["photographs"]
    assert [(p["sha256"], p["entry"], p["kept"]) for p in waiting] == [(digest(content), 0, False)]
    assert [p["kept"] for p in arrived] == [True]
