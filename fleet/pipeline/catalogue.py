"""load_catalogue: write a release. The sweep then judges boilers again, since their `build` is old."""

from datetime import datetime
from pathlib import Path

from fleet.catalog.models import Release
from fleet.catalog.services import load_release
from fleet.wake import wake_task


def load_catalogue(*, folder: Path, at: datetime) -> Release:
    """Load a folder as the next release and wake the sweep. The same content as the newest release writes nothing.

    Raises Refused with every fault in the folder.
    """
    release = load_release(folder=folder, at=at)
    wake_task("fleet.tasks.sweep")
    return release
