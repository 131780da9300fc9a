"""The card on paper: a letter page, 31 lines, the legend of the tick, both languages, a code that leads home."""

import re
from types import SimpleNamespace
from typing import Any, cast

import pytest
import segno

from fleet.cards import addresses
from fleet.cards.caretaker_words import caretaker_rules
from fleet.cards.paper import card_data, render_card_pdf, render_card_picture
from fleet.portfolio.models import Boiler
from fleet.rules.wording import ADVICE_CAUTION
from tests.cards.pdf_text import count_pages, text_of
from tests.cast import NOW

ADDRESS = f"https://boilers.sorrelgate.example/card/{addresses.make_secret()}/"
LEGEND = "burner firing, water ran, it stopped, level came back"
LETTER = b"/MediaBox[0 0 612 792]"


def boiler(address: str = "12 Alder Terrace", name: str = "Boiler 1") -> Boiler:
    return cast(Boiler, SimpleNamespace(building=SimpleNamespace(address=address), name=name))


def squeezed(text: str) -> str:
    return re.sub(r"\s+", "", text)


@pytest.fixture(scope="module")
def pdf() -> bytes:
    return render_card_pdf(boiler(), ADDRESS, NOW)


@pytest.fixture(scope="module")
def text(pdf: bytes) -> str:
    return squeezed(text_of(pdf))


def test_it_is_one_letter_page(pdf: bytes) -> None:
    assert (pdf[:5], count_pages(pdf), LETTER in pdf.replace(b"Box [", b"Box[")) == (b"%PDF-", 1, True)


def test_the_same_card_gives_the_same_bytes(pdf: bytes) -> None:
    assert render_card_pdf(boiler(), ADDRESS, NOW) == pdf


def test_it_names_its_boiler_and_has_a_line_for_each_day(text: str) -> None:
    assert squeezed("12 Alder Terrace, Boiler 1") in text
    days = "".join(f"{day}psi" for day in range(1, 32))
    assert days in text


def test_the_legend_of_the_tick_is_exactly_what_a_whole_flush_is(text: str) -> None:
    assert squeezed(f"a tick means {LEGEND}.") in text


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("kind", ["do", "do_not", "danger"])
def test_every_rule_stands_on_it_in_both_languages(text: str, kind: str, language: str) -> None:
    missing = [r.short for r in caretaker_rules(kind, language) if squeezed(r.short) not in text]
    missing += [r.more for r in caretaker_rules(kind, language) if squeezed(r.more) not in text]
    assert missing == []


def test_it_says_whose_word_it_is_and_that_nobody_has_read_the_spanish(text: str) -> None:
    assert squeezed(ADVICE_CAUTION) in text
    assert squeezed("not yet read by a native speaker of the trade") in text


def test_its_address_is_in_the_code_and_nowhere_as_text(pdf: bytes, text: str) -> None:
    secret = ADDRESS.split("/")[-2]
    assert secret not in text
    assert secret.encode() not in pdf


def test_the_code_is_that_of_the_address() -> None:
    drawn = card_data(boiler(), ADDRESS)["code"]
    assert drawn != card_data(boiler(), ADDRESS.replace("https", "http"))["code"]
    assert segno.make(ADDRESS, error="m", micro=False).version <= 7  # few enough squares for an old telephone


@pytest.mark.parametrize(
    ("address", "name"),
    [
        ("1 A", "B"),
        (
            "118 Quince Street, rear building by the river, entrance from the yard " * 2,
            "Boiler in the third cellar room" * 3,
        ),
    ],
)
def test_a_long_name_leaves_it_on_one_page(address: str, name: str) -> None:
    assert count_pages(render_card_pdf(boiler(address[:200], name[:90]), ADDRESS, NOW)) == 1


@pytest.mark.parametrize("name", ["#strong[x]", "$x$", "*b* _i_", "<a>", "\\ \" '", '#include "/etc/passwd"'])
def test_what_is_typed_stays_text(name: str) -> None:
    assert squeezed(name) in squeezed(text_of(render_card_pdf(boiler("12 Alder", name), ADDRESS, NOW)))


def test_it_can_be_looked_at_as_a_picture() -> None:
    picture: Any = render_card_picture(boiler(), ADDRESS, NOW, 30)
    assert picture[:8] == b"\x89PNG\r\n\x1a\n"
