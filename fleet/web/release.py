"""Which release of the pages this process serves: a kept answer of another release is not this one's."""

from functools import cache
from hashlib import sha256
from pathlib import Path

from django.conf import settings


@cache
def release() -> str:
    """Return a digest of the templates and scripts, read once per process."""
    folders = (settings.ROOT / "templates", Path(__file__).parent)
    files = sorted(p for f in folders for p in f.rglob("*") if p.suffix in {".html", ".js", ".css", ".py"})
    return sha256(b"".join(p.read_bytes() for p in files)).hexdigest()
