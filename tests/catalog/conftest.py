"""A copy of the shipped catalogue to break."""

import shutil
from pathlib import Path

import pytest

SHIPPED = Path(__file__).resolve().parents[2] / "fixtures" / "catalogue"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(SHIPPED, tmp_path / "catalogue"))
