"""Fixtures of this folder."""

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.management.machine import AS_NOBODY, found_beside, roomy


@pytest.fixture
def home() -> Iterator[Path]:
    """A folder anybody may pass through, removed afterwards."""
    made = roomy()
    yield made
    shutil.rmtree(made)


@pytest.fixture(scope="session")
def plain_python() -> Iterator[str | None]:
    """An interpreter a user without rights may run: this one, or a copy of it if it lies in a private home.

    The copy that a site runs is for its own account alone.
    """
    if os.geteuid() != 0 or _runs_for_nobody(sys.executable):
        yield sys.executable
        return
    place = roomy()
    program = place / "bin" / Path(sys.executable).resolve().name
    library = f"lib/python{sys.version_info.major}.{sys.version_info.minor}"
    ignored = shutil.ignore_patterns("site-packages", "test", "tests", "idlelib", "__pycache__", "config-*")
    shutil.copytree(Path(sys.base_prefix) / library, place / library, ignore=ignored)
    for shared in (Path(sys.base_prefix) / "lib").glob("libpython3.*"):
        shutil.copy(shared, place / "lib")
    program.parent.mkdir()
    shutil.copy(Path(sys.executable).resolve(), program)
    yield str(program) if _runs_for_nobody(str(program)) else None
    shutil.rmtree(place)


def _runs_for_nobody(python: str) -> bool:
    try:
        asked = subprocess.run([python, "-c", ""], env=found_beside(python), check=False, **AS_NOBODY)
    except PermissionError:
        return False
    return asked.returncode == 0
