"""load_catalogue: writes the release and stops; the sweep judges again by `build`, a few boilers a time."""

from datetime import datetime
from pathlib import Path

from fleet.catalog.models import Release
from fleet.catalog.services import load
from fleet.wake import wake


def load_catalogue(*, folder: Path, at: datetime) -> Release:
    """Load a folder as the next release; the same content writes nothing. Raises Refused with every fault in it."""
    release = load(folder=folder, at=at)
    wake("fleet.tasks.sweep")
    return release
