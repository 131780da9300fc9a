"""The trade's words and the licenses are one tap away from every page, for anybody."""

import re
from pathlib import Path

import pytest
from django.test import Client

from fleet.rules.values import STANDINGS
from fleet.web.about.about_pages import SERVED_PARTS
from fleet.web.about.trade_words import TRADE_WORDS

pytestmark = pytest.mark.django_db
ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize("path", ["/words/", "/licenses/", "/sign-in/"])
def test_both_are_a_tap_away_without_signing_in(path: str) -> None:
    page = Client().get(path).content.decode()
    assert 'href="/words/"' in page
    assert 'href="/licenses/"' in page


def test_every_standing_but_off_has_its_sentence() -> None:
    words = {word.lower() for word, _ in TRADE_WORDS}
    assert {standing.replace("_", " ") for standing in STANDINGS} - {"off"} <= words


def test_each_word_has_one_sentence_that_permits_nothing() -> None:
    assert len({word for word, _ in TRADE_WORDS}) == len(TRADE_WORDS)
    assert not [sentence for _, sentence in TRADE_WORDS if re.search(r"\b(may fire|safe to|ready|passed)\b", sentence)]


def test_every_part_of_others_that_a_page_loads_is_named() -> None:
    loaded = set()
    for template in (ROOT / "templates").rglob("*.html"):
        loaded |= set(re.findall(r"{% static '(?!web/)([^/']+)", template.read_text(encoding="utf-8")))
        loaded |= {"htmx"} if "htmx_script" in template.read_text(encoding="utf-8") else set()
    names = {part.name for part in SERVED_PARTS}
    owners = {"chart": "Chart.js", "htmx": "htmx", "django_htmx": "django-htmx"}
    assert {owners[part] for part in loaded} <= names
