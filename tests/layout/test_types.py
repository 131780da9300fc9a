"""Types say what a value is: the lines of the source that give up on it are counted, and may only fall."""

import re

from tests.layout.tree import listed, sources

# What the tree has today, imports of the name included. Lower it when a type was found; never raise it.
MAX_LINES_WITH_ANY = 383
ANY = re.compile(r"\bAny\b")


def lines_with_any(name: str, text: str) -> list[str]:
    """Return the lines of a file in which the type stands that fits everything."""
    return [f"{name}:{number}" for number, line in enumerate(text.splitlines(), 1) if ANY.search(line)]


def test_hardly_a_line_gives_up_on_its_type() -> None:
    found = [
        line for name, text in sources() for line in lines_with_any(name, text) if name.startswith(("fleet", "api"))
    ]
    assert len(found) <= MAX_LINES_WITH_ANY, listed(found)


def test_a_planted_line_is_found() -> None:
    planted = "from typing import Any\n\n\ndef read(company: str) -> dict[str, Any]: ...\nANYTHING = 1\n"
    assert lines_with_any("a.py", planted) == ["a.py:1", "a.py:4"]
