"""Reads the PDF on standard input and prints what it is: `readable`, `encrypted` or `unreadable`.

A program of its own (`pdf_check.py` runs it): a PDF made on purpose can have its reader run or grow without end, so
it gets so much time and memory and no more. Nothing of the PDF is drawn, and no script in it is run.
"""

import io
import resource
import sys

from pypdf import PdfReader

MAX_SECONDS = 10
MAX_MEMORY_BYTES = 1024 * 1024 * 1024
MAX_PAGES = 2000


def describe_pdf(content: bytes) -> str:
    """Return what these bytes are: every page is looked up by the file's own tables."""
    try:
        reader = PdfReader(io.BytesIO(content))
        if reader.is_encrypted:
            return "encrypted"
        count = len(reader.pages)
        if not 1 <= count <= MAX_PAGES or any(page.get("/Type") != "/Page" for page in reader.pages):
            return "unreadable"
    except Exception:  # whatever a reader raises at broken bytes: they cannot be read
        return "unreadable"
    return "readable"


if __name__ == "__main__":
    resource.setrlimit(resource.RLIMIT_CPU, (MAX_SECONDS, MAX_SECONDS))
    resource.setrlimit(resource.RLIMIT_AS, (MAX_MEMORY_BYTES, MAX_MEMORY_BYTES))
    sys.stdout.write(describe_pdf(sys.stdin.buffer.read()))
