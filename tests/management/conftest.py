"""Fixtures of this folder."""

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from fleet.management.embedded.program_copy import CODE_PARTS, program_place
from fleet.management.embedded.site_accounts import choose_accounts
from tests.management.machine import AS_NOBODY, found_beside, roomy


@pytest.fixture
def home() -> Iterator[Path]:
    """A folder anybody may pass through, removed afterwards."""
    made = roomy()
    yield made
    shutil.rmtree(made)


@pytest.fixture(scope="session")
def plain_python() -> Iterator[str | None]:
    """An interpreter a user without rights may run: this one, or if it lies in a private home the copy a site runs."""
    if os.geteuid() != 0 or _runs_for_nobody(sys.executable):
        yield sys.executable
        return
    with program_place(choose_accounts("test"), CODE_PARTS, print) as place:
        program = str(Path(place.python).resolve())
        yield program if _runs_for_nobody(program) else None


def _runs_for_nobody(python: str) -> bool:
    try:
        asked = subprocess.run([python, "-c", ""], env=found_beside(python), check=False, **AS_NOBODY)
    except PermissionError:
        return False
    return asked.returncode == 0
