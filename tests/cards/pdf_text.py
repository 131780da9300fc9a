"""The text of a PDF as its reader would copy it: strings of each page through the fonts' own tables to characters."""

import re
import zlib
from collections.abc import Iterator

OBJECT = re.compile(rb"(\d+) 0 obj\s*(.*?)endobj", re.DOTALL)
STREAM = re.compile(rb"stream\r?\n(.*?)\nendstream", re.DOTALL)
PAIR = re.compile(rb"<([0-9a-fA-F]+)>\s*<([0-9a-fA-F]+)>")
RANGE = re.compile(rb"<([0-9a-fA-F]+)>\s*<([0-9a-fA-F]+)>\s*<([0-9a-fA-F]+)>")
SHOWN = re.compile(rb"/(f\d+) [\d.]+ Tf|(\((?:\\.|[^\\)])*\))|(\])\s*TJ", re.DOTALL)
ESCAPE = re.compile(rb"\\([0-7]{1,3}|.)", re.DOTALL)
NAMED = {b"n": b"\n", b"r": b"\r", b"t": b"\t", b"b": b"\b", b"f": b"\f"}


def count_pages(pdf: bytes) -> int:
    return len(re.findall(rb"/Type ?/Page\b", pdf))


def text_of(pdf: bytes) -> str:
    """All text, one blank between the strings that are shown one after the other."""
    objects = dict(OBJECT.findall(pdf))
    fonts = {name: _characters(objects, font) for name, font in re.findall(rb"/(f\d+) (\d+) 0 R", pdf)}
    pages = [content for body in objects.values() if b" Tf" in (content := _stream(body))]
    return " ".join(" ".join(_texts(content, fonts)) for content in pages)


def _stream(body: bytes) -> bytes:
    found = STREAM.search(body)
    if found is None or b"FlateDecode" not in body:
        return b""
    # A stream may end with the byte of a carriage return, which then is its own and not the line's.
    return zlib.decompressobj().decompress(found[1])


def _characters(objects: dict[bytes, bytes], font: bytes) -> dict[int, str]:
    """What each code of a font is, by its ToUnicode table."""
    reference = re.search(rb"/ToUnicode (\d+) 0 R", objects[font])
    assert reference is not None
    table = _stream(objects[reference[1]])
    characters: dict[int, str] = {}
    for block in re.findall(rb"beginbfchar(.*?)endbfchar", table, re.DOTALL):
        characters.update(
            (int(code, 16), bytes.fromhex(to.decode()).decode("utf-16-be")) for code, to in PAIR.findall(block)
        )
    for block in re.findall(rb"beginbfrange(.*?)endbfrange", table, re.DOTALL):
        for first, last, to in RANGE.findall(block):
            start = int(to, 16)
            characters.update(
                (code, chr(start + code - int(first, 16))) for code in range(int(first, 16), int(last, 16) + 1)
            )
    return characters


def _texts(content: bytes, fonts: dict[bytes, dict[int, str]]) -> Iterator[str]:
    characters: dict[int, str] = {}
    text = ""
    for font, string, end in SHOWN.findall(content):
        if font:
            characters = fonts[font]
        elif string:
            raw = ESCAPE.sub(
                lambda m: NAMED.get(m[1]) or (bytes([int(m[1], 8)]) if m[1][:1].isdigit() else m[1]), string[1:-1]
            )
            codes = [int.from_bytes(raw[at : at + 2]) for at in range(0, len(raw), 2)]
            text += "".join(characters.get(code, "") for code in codes)
        elif end:
            yield text
            text = ""
