"""Which text can be stored, looked for in what was sent and not in what a decoder made of it.

PostgreSQL stores no NUL, and UTF-8 has no lone surrogate. Decoders of addresses and forms write U+FFFD for bytes that
are no UTF-8, so that something else would be kept than was sent.
"""

import base64
import binascii
import re
from collections.abc import Iterable, Iterator
from urllib.parse import unquote_to_bytes

_UNSTORABLE = re.compile("[\x00\ud800-\udfff]")
# RFC 8187, 3.2.1: the charset of a parameter whose name ends with an asterisk, the language, percent-encoded bytes.
_EXTENDED_VALUE = re.compile(rb"\*\s*=\s*\"?([^'\";]*)'[^';]*'([^\";\r\n]*)")
_CHARSETS = {"utf-8", "iso-8859-1"}  # those that RFC 8187 asks to be read


def has_unstorable_text(texts: Iterable[str]) -> bool:
    """Return whether one of the texts has a NUL or a lone surrogate."""
    return any(_UNSTORABLE.search(text) for text in texts)


def is_storable(sent: bytes) -> bool:
    """Return whether bytes are UTF-8 without a NUL."""
    try:
        return "\x00" not in sent.decode()
    except UnicodeDecodeError:
        return False


def is_storable_query(sent: bytes) -> bool:
    """Return whether a query, or a form sent as one, is UTF-8 without a NUL once its percent signs are read.

    `&` and `=` are no part of a longer character, so that the whole is text where each name and value is.
    """
    return is_storable(unquote_to_bytes(sent))


def is_storable_form(sent: bytes, boundary: bytes) -> bool:
    """Return whether all but the files of a multipart form is UTF-8 without a NUL: heads of parts, names, fields."""
    return all(
        is_storable(head) and all(map(_is_storable_name, _EXTENDED_VALUE.findall(head))) and is_storable(text)
        for head, text in _split_parts(sent, boundary)
    )


def _split_parts(sent: bytes, boundary: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Yield the head of each part, and what it holds where that is a field."""
    for part in sent.split(b"--" + boundary)[1:]:
        head, _, content = part.partition(b"\r\n\r\n")
        marks = head.lower()
        if b"filename" in marks:
            yield head, b""
        else:
            yield head, _decode_base64(content) if b"base64" in marks else content


def _decode_base64(content: bytes) -> bytes:
    """Return what a field in base64 says; nothing where it is none, which the reader of the form refuses."""
    try:
        return base64.b64decode(content)
    except binascii.Error:
        return b""


def _is_storable_name(charset_and_value: tuple[bytes, bytes]) -> bool:
    charset, value = charset_and_value[0].decode("latin-1").strip().lower(), unquote_to_bytes(charset_and_value[1])
    return b"\x00" not in value and charset in _CHARSETS and (charset != "utf-8" or is_storable(value))
