"""The card's second language: what its templates and code say, what the catalog of messages has, and compiling it.

`python -m tests.web.card.messages` writes the compiled catalog anew from its source.
"""

import ast
import struct
from collections.abc import Iterator, Mapping
from pathlib import Path

from django.template.base import Lexer, TokenType

ROOT = Path(__file__).resolve().parents[3]
SOURCE = ROOT / "fleet" / "locale" / "es" / "LC_MESSAGES" / "django.po"
COMPILED = SOURCE.with_suffix(".mo")
TEMPLATES, CODE = ROOT / "templates" / "card", ROOT / "fleet" / "web" / "card"
MAGIC = 0x950412DE  # of a compiled catalog, as GNU gettext writes it
CALLS = {"_", "gettext"}


def said_by_templates() -> Iterator[str]:
    """Every text that the card's templates have translated."""
    for path in sorted(TEMPLATES.glob("*.html")):
        for token in Lexer(path.read_text(encoding="utf-8")).tokenize():
            if token.token_type == TokenType.BLOCK and token.contents.startswith("translate "):
                yield str(ast.literal_eval(token.split_contents()[1]))


def said_by_code() -> Iterator[str]:
    """Every text that the card's code has translated; what it only looks up by a variable is not among them."""
    for path in sorted(CODE.glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            match node:
                case ast.Call(func=ast.Name(id=called), args=[ast.Constant(value=str(text))]) if called in CALLS:
                    yield text


def read_source(text: str) -> dict[str, str]:
    """The messages of a catalog's source: `msgid` and `msgstr` lines, each followed by more of its text."""
    messages: dict[str, str] = {}
    part, current = "", {"msgid": "", "msgstr": ""}
    for line in [*text.splitlines(), 'msgid ""']:
        word, _, quoted = line.partition(" ") if line.startswith("msg") else ("", "", line)
        if word == "msgid":
            if part == "msgstr":
                messages[current["msgid"]] = current["msgstr"]
            current = {"msgid": "", "msgstr": ""}
        part = word or part
        if quoted.startswith('"'):
            current[part] += ast.literal_eval(quoted)
    return messages


def compile_messages(messages: Mapping[str, str]) -> bytes:
    """The compiled form of a catalog, as GNU gettext describes it: two tables of lengths and places, then the texts."""
    pairs = sorted((key.encode(), text.encode()) for key, text in messages.items() if text)
    start = 28 + 16 * len(pairs)
    tables: list[bytes] = []
    texts = b""
    for side in (0, 1):
        for pair in pairs:
            tables.append(struct.pack("<II", len(pair[side]), start + len(texts)))
            texts += pair[side] + b"\0"
    head = struct.pack("<7I", MAGIC, 0, len(pairs), 28, 28 + 8 * len(pairs), 0, start)
    return head + b"".join(tables) + texts


if __name__ == "__main__":
    COMPILED.write_bytes(compile_messages(read_source(SOURCE.read_text(encoding="utf-8"))))
