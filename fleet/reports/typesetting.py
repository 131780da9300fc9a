"""Setting a report as PDF: the content goes as data, never as markup, so that typed text stays text."""

import json
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

import typst

FOLDER = Path(__file__).parent


def set_report(name: str, content: Mapping[str, object], at: datetime) -> bytes:
    """Return the PDF of a report; the same content at the same instant gives the same bytes."""
    written = typst.compile(
        str(FOLDER / f"{name}.typ"),
        format="pdf",
        sys_inputs={"told": json.dumps(content, ensure_ascii=False)},
        timestamp=int(at.timestamp()),
        ignore_system_fonts=True,
    )
    assert isinstance(written, bytes)  # one document gives bytes, not a list of pages
    return written
