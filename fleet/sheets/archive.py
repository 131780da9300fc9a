"""Checks of a packed workbook before it is opened: unpacked bytes are counted, sizes in its headers are not used."""

import io
import re
import zlib
from collections.abc import Iterator
from zipfile import BadZipFile, ZipFile, ZipInfo

from fleet.errors import Fault
from fleet.sheets.table import MAX_FAULTS, file_refusal

MAX_PARTS = 500
MAX_UNPACKED_BYTES = 256 * 1024 * 1024
MAX_UNPACK_RATIO = 300  # of one part; a sheet of equal rows packs about a hundredfold (measured)
MIN_RATIO_BYTES = 4 * 1024 * 1024  # bytes; below this the ratio says nothing
CHUNK_BYTES = 256 * 1024
OVERLAP_BYTES = 512
# Parts that run or fetch something, or hold another file.
FORBIDDEN_PARTS = (
    (
        re.compile(r"vba|macrosheet|activex|/ctrlprops/", re.I),
        "macros",
        "The file contains macros. Save it as plain .xlsx.",
    ),
    (
        re.compile(r"externallinks?/|/connections\.xml|querytables?/", re.I),
        "external_links",
        "The file takes values from another file or source. Save it with values only.",
    ),
    (re.compile(r"/embeddings/|oleobject", re.I), "embedded", "Another file is embedded in it. Remove it."),
)
_MERGED = re.compile(rb"""<(?:\w+:)?mergeCell\s[^>]*?ref\s*=\s*["']([A-Z]{1,3}\d{1,7}(?::[A-Z]{1,3}\d{1,7})?)""")
_DOCTYPE = re.compile(rb"<!(?:DOCTYPE|ENTITY)")
_FAR = re.compile(rb"""\sr\s*=\s*["'][A-Z]{3,}\d""")
_ENCODING = re.compile(rb"""^\s*<\?xml[^>]*?encoding\s*=\s*["']([^"']+)""")
_SHEET = re.compile(r"xl/worksheets/[^/]+\.xml", re.I)


def check_archive(content: bytes) -> dict[str, list[str]]:
    """Unpack every part once, keeping nothing; return the merged ranges by sheet part.

    Raises Refused for what is no whole workbook, is locked, carries macros, or unpacks to too much.
    """
    try:
        with ZipFile(io.BytesIO(content)) as packed:
            parts = packed.infolist()
            _refuse_bad_names(parts)
            return _unpack_parts(packed, parts)
    except (BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, RuntimeError, ValueError):
        raise file_refusal("half_a_file", "This workbook is damaged, or part of it is missing.") from None


def _refuse_bad_names(parts: list[ZipInfo]) -> None:
    names = [part.filename for part in parts]
    if len(names) > MAX_PARTS or len(set(names)) != len(names):
        raise file_refusal("not_a_workbook", f"A workbook can have at most {MAX_PARTS} parts, each only once.")
    if any(part.flag_bits & 0x1 for part in parts):
        raise file_refusal("locked", "It is locked with a password. Save it without one.")
    if "[Content_Types].xml" not in names or "xl/workbook.xml" not in names:
        raise file_refusal("not_a_workbook", "This is an archive but not a workbook (.xlsx).")
    for name in names:
        for pattern, code, message in FORBIDDEN_PARTS:
            if pattern.search(name):
                raise file_refusal(code, message)


def _unpack_parts(packed: ZipFile, parts: list[ZipInfo]) -> dict[str, list[str]]:
    total, merged = 0, {}
    for part in parts:
        size, merged_refs = 0, dict[bytes, None]()
        for chunk in _read_chunks(packed, part):
            size += len(chunk.fresh)
            total += len(chunk.fresh)
            if total > MAX_UNPACKED_BYTES:
                raise file_refusal("too_large_unpacked", f"It unpacks to more than {MAX_UNPACKED_BYTES >> 20} MiB.")
            if size > MIN_RATIO_BYTES and size > MAX_UNPACK_RATIO * max(1, part.compress_size):
                raise file_refusal("zip_bomb", f"A part of it unpacks to more than {MAX_UNPACK_RATIO} times its size.")
            _refuse_harmful(part.filename, chunk)
            if _SHEET.fullmatch(part.filename) and len(merged_refs) <= MAX_FAULTS:
                merged_refs.update(dict.fromkeys(m[1] for m in _MERGED.finditer(chunk.whole)))
        merged[part.filename] = [ref.decode() for ref in merged_refs]
    return merged


class _Chunk:
    """Some unpacked bytes, and the same with the end of the chunk before, so that no pattern hides on the border."""

    def __init__(self, before: bytes, fresh: bytes, first: bool) -> None:
        self.fresh, self.first = fresh, first
        self.whole = before + fresh


def _read_chunks(packed: ZipFile, part: ZipInfo) -> Iterator[_Chunk]:
    with packed.open(part) as stream:
        before, first = b"", True
        while fresh := stream.read(CHUNK_BYTES):
            yield _Chunk(before, fresh, first)
            before, first = (before + fresh)[-OVERLAP_BYTES:], False


def _refuse_harmful(name: str, chunk: _Chunk) -> None:
    """Raise Refused for a document type (its entities can grow without end or name files) or an encoding hiding one."""
    if not name.lower().endswith((".xml", ".rels", ".vml")):
        return
    if chunk.first:
        declared_encoding = _ENCODING.match(chunk.fresh.removeprefix(b"\xef\xbb\xbf"))
        if chunk.fresh[:2] in (b"\xff\xfe", b"\xfe\xff") or b"\0" in chunk.fresh[:4]:
            raise file_refusal("not_a_workbook", "Its parts are not UTF-8.")
        if declared_encoding and declared_encoding[1].lower() not in (b"utf-8", b"us-ascii", b"ascii"):
            raise file_refusal("not_a_workbook", "Its parts are not UTF-8.")
    if _DOCTYPE.search(chunk.whole):
        raise file_refusal("document_type", "It declares a document type or entities, which no workbook does.")
    if _SHEET.fullmatch(name) and _FAR.search(chunk.whole):
        raise file_refusal("too_many_columns", "A cell is beyond column ZZ.", 1)


def merged_fault(ref: str) -> Fault:
    """Return the fault of a merged range, at the range's first cell."""
    match = re.match(r"([A-Z]+)(\d+)", ref)
    assert match is not None
    message = f"Cells {ref} are merged, so it is not clear which of them holds the value. Split them."
    return Fault("merged_cells", message, (int(match[2]), match[1]))
