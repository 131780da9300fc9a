"""Every code in a table of the rules is one that somebody can write: misspelled, its rule would never fire."""

import enum
import importlib
import pkgutil
from collections.abc import Iterator
from dataclasses import fields, is_dataclass

import pytest

import fleet.rules
from tests.rules.build import catalogue

MODULES = [importlib.import_module(m.name) for m in pkgutil.walk_packages(fleet.rules.__path__, "fleet.rules.")]


def texts_in(value: object) -> Iterator[str]:
    """Every text in a value, however deep; the words of an enumeration are named elsewhere."""
    if isinstance(value, enum.Enum):
        return
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield from (*texts_in(key), *texts_in(inner))
    elif isinstance(value, (tuple, list, set, frozenset)):
        for inner in value:
            yield from texts_in(inner)
    elif is_dataclass(value):
        for field in fields(value):
            yield from texts_in(getattr(value, field.name))


WORDS_OF_ENUMERATIONS = {
    word.value
    for module in MODULES
    for words in vars(module).values()
    if isinstance(words, type) and issubclass(words, enum.Enum)
    for word in words
}
KNOWN = WORDS_OF_ENUMERATIONS | {part for text in texts_in(catalogue()) for part in text.split("|")}

# Codes of the visits, of the register and of what is worked out: they stand in no table of the catalogue.
OTHERS = {
    # kinds of visits, checks at leaving
    *("annual_service", "season_start"),
    *("jumpers_off", "set_points_read", "feed_open", "drains_shut", "glass_cocks_open"),
    *("resets_in", "water_at_line", "tags_accounted", "told"),
    # of a boiler
    *("construction", "cast_iron", "firetube", "watertube", "hand", "stoker", "oil_gas", "oil_2"),
    "greater_of",
    # what voids a proof, and how it is said
    *("lift_over_limit", "return_to_service", "lapsed_out_of_service"),
    *("adjusted", "disconnected", "jumpered", "opened"),
    # why a trip height failed
    *("too_low", "under_lowest_line"),
    # how what stands against firing begins
    "routine:",
    # comparisons, days, months
    *("<", ">"),
    *("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"),
    *("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"),
    # singular and plural
    *("is", "was", "has", "it", "its", "needs", "hangs", "are", "were", "have", "they", "their", "need", "hang"),
}
TABLES = [
    (module.__name__, name)
    for module in MODULES
    for name, value in vars(module).items()
    if not name.startswith("__") and isinstance(value, (str, tuple, list, dict, set, frozenset))
]


@pytest.mark.parametrize(("module", "name"), TABLES)
def test_every_code_in_a_table_is_known(module: str, name: str) -> None:
    texts = set(texts_in(getattr(importlib.import_module(module), name)))
    assert {text for text in texts if " " not in text and text} <= KNOWN | OTHERS
