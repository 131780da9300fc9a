"""A picture sent with a card's form: kept, or left out and said so, and never a reason to lose what it came with."""

import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import translation
from PIL import Image

from fleet.files.models import KeptFile
from fleet.management.web_server.card_refusals import refusal_on_card
from tests.cast import Fleet, standing
from tests.stories import story
from tests.web.card.conftest import Caller, furnish

pytestmark = pytest.mark.django_db


@story
def boiler_room(fleet: Fleet) -> None:
    """A lapsed operator proof, people with PINs, a glass, a gauge and a meter."""
    furnish(fleet)


def picture(form: str = "JPEG") -> bytes:
    written = io.BytesIO()
    Image.effect_noise((640, 480), 60).convert("RGB").save(written, form)
    return written.getvalue()


@pytest.mark.parametrize(
    ("content", "kept", "says"),
    [
        (picture(), 1, "With its picture."),
        (picture("PNG"), 1, "With its picture."),
        (b"no picture at all", 0, "The picture could not be read"),
        (b"\xff\xd8\xff" + bytes(900), 0, "The picture could not be read"),
    ],
)
def test_a_picture_is_kept_or_left_out_and_what_it_came_with_is_saved(
    caller: Caller, boiler_room: Fleet, content: bytes, kept: int, says: str
) -> None:
    sent = SimpleUploadedFile("a.jpg", content, content_type="image/jpeg")
    answer = caller.send("trouble", {"trouble": "gas_smell", "picture": sent})
    assert says in caller.client.get(answer["Location"]).text
    assert (KeptFile.objects.filter(kept_at__isnull=False).count(), standing(boiler_room.bench())) == (kept, "hold")


@pytest.mark.parametrize(
    ("language", "says"),
    [("en", "over 2 MB and was left out. All else is saved."), ("es", "pasa de 2 MB y no se guardó.")],
)
def test_a_picture_over_its_bound_is_left_out_and_said_in_the_language_of_the_card(
    caller: Caller, boiler_room: Fleet, language: str, says: str
) -> None:
    large = SimpleUploadedFile("a.jpg", picture() + bytes(2 * 1024 * 1024), content_type="image/jpeg")
    sent = {"trouble": "gas_smell", "picture": large}
    answer = caller.send("trouble", sent, headers={"Accept-Language": language})
    assert says in caller.client.get(answer["Location"]).text
    assert (KeptFile.objects.count(), standing(boiler_room.bench())) == (0, "hold")


def test_what_the_web_server_refuses_on_a_card_is_said_in_both_languages_with_the_danger() -> None:
    danger = "Smell of gas, or an alarm: everybody out. Touch no switch. Call 911 from outside."
    with translation.override("es"):
        spanish_danger = translation.gettext(danger)
    for code, said in {"too_large": ("without the picture", "sin la foto"), "busy": ("save it", "guárdelo")}.items():
        text = refusal_on_card(code)
        assert all(words in text for words in (*said, "NOTHING WAS SAVED", "NO SE GUARDÓ NADA"))
        assert text.endswith(f"{danger}\n\n{spanish_danger}")
