"""A boiler's card on paper: the month's wall log, one letter page in both languages, the code in its corner.

The content goes to the typesetter as data (JSON), never as markup.
"""

import io
import json
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

import segno
import typst
from django.utils import translation
from django.utils.translation import gettext

from fleet.cards.caretaker_words import caretaker_rules
from fleet.catalog.field_words import LANGUAGES, read_words
from fleet.portfolio.models import Boiler
from fleet.rules.wording import ADVICE_CAUTION

TEMPLATE_PATH = Path(__file__).with_name("card.typ")
PAPER_FILE = "card_paper.yaml"
LINES = 31  # the days of the longest month
CODE_ERRORS = "m"  # of ISO/IEC 18004: a code with 15 % of it dirty is read still


def render_card_pdf(boiler: Boiler, address: str, at: datetime) -> bytes:
    """Return the card as PDF; `address` is what its code opens."""
    content = _typeset(boiler, address, at, format="pdf")
    assert isinstance(content, bytes)  # one document gives bytes, not a list of pages
    return content


def render_card_picture(boiler: Boiler, address: str, at: datetime, pixels_per_inch: float = 100.0) -> bytes:
    """Return the card's one page as PNG, to look at."""
    content = _typeset(boiler, address, at, format="png", ppi=pixels_per_inch)
    return content[0] if isinstance(content, list) else bytes(content or b"")


def _typeset(boiler: Boiler, address: str, at: datetime, **options: Any) -> Any:
    inputs = {"told": json.dumps(card_data(boiler, address), ensure_ascii=False)}
    return typst.compile(
        str(TEMPLATE_PATH), sys_inputs=inputs, timestamp=int(at.timestamp()), ignore_system_fonts=True, **options
    )


def card_data(boiler: Boiler, address: str) -> dict[str, object]:
    """Return everything on the card, as texts: pairs of both languages, English first."""
    rules = {kind: _rules_in_both(kind) for kind in ("do", "do_not", "danger")}
    return {
        "boiler": f"{boiler.building.address}, {boiler.name}",
        "code": _draw_code(address),
        "lines": LINES,
        "words": {key: _in_both(words) for key, words in read_words(PAPER_FILE).items()},
        "caution": [ADVICE_CAUTION, _in_spanish(ADVICE_CAUTION)],
        **rules,
    }


def _in_both(words: Mapping[str, str]) -> list[str]:
    return [words[language] for language in LANGUAGES]


def _rules_in_both(kind: str) -> list[dict[str, list[str]]]:
    """Return each rule with its large words and what stands under them, both in both languages."""
    sides = zip(*(caretaker_rules(kind, language) for language in LANGUAGES), strict=True)
    return [{"short": [rule.short for rule in side], "more": [rule.more for rule in side]} for side in sides]


def _in_spanish(text: str) -> str:
    with translation.override("es"):
        return gettext(text)


def _draw_code(address: str) -> str:
    """Return the code as SVG, black on white, with the quiet zone that a reader needs."""
    written = io.BytesIO()
    segno.make(address, error=CODE_ERRORS, micro=False).save(written, kind="svg", border=4, light="white")
    return written.getvalue().decode()
