"""What root may rely on: files and folders, up to the top, that nobody but root can change."""

import os
import stat
from collections.abc import Iterable
from pathlib import Path


def untrusted_part(path: Path) -> Path | None:
    """Return the first of `path` and its folders, from the top, that another than root can change; None without any.

    In a folder like /tmp, whose mark lets only owners remove what is there, others cannot take the next part away.
    """
    resolved = Path(os.path.realpath(path))
    return next((part for part in (*reversed(resolved.parents), resolved) if _may_be_changed(part)), None)


def first_untrusted(paths: Iterable[Path]) -> Path | None:
    """Return the first untrusted part of any of these paths; None where root can rely on all of them."""
    return next((part for path in paths if (part := untrusted_part(path))), None)


def _may_be_changed(path: Path) -> bool:
    status = path.lstat()
    is_open = bool(status.st_mode & 0o022) and not status.st_mode & stat.S_ISVTX
    return status.st_uid != 0 or is_open
