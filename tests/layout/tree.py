"""What the checks of the layout read: the rooms in their order, and the files of the tree."""

import ast
import subprocess
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
PURE = ("errors", "calendar", "engineering", "reliability", "rules", "planning")
# The only places that may read a clock; as paths from the root.
DOORS = ("api/", "fleet/web/", "fleet/tasks.py", "fleet/management/")
# What an editable install and `collectstatic` leave beside the sources; both are in .gitignore.
LEFT_BEHIND = ("*.egg-info", "static-collected", "__pycache__")


def pyproject() -> dict[str, Any]:
    """Return the whole of pyproject.toml."""
    return tomllib.loads((ROOT / "pyproject.toml").read_text())


def layers() -> list[list[str]]:
    """Return the rooms of `fleet` from the doors down, as the import contract lists them."""
    contracts = pyproject()["tool"]["importlinter"]["contracts"]
    listed = next(contract["layers"] for contract in contracts if contract["id"] == "layers")
    return [[room.strip() for room in layer.split("|")] for layer in listed]


def contract_modules() -> set[str]:
    """Return every module that a contract names: each room, each wing, what must not be imported from where."""
    modules = set()
    for contract in pyproject()["tool"]["importlinter"]["contracts"]:
        rooms = {room.strip() for layer in contract.get("layers", ()) for room in layer.split("|")}
        modules |= {f"{container}.{room}" for container in contract.get("containers", ()) for room in rooms}
        modules |= {*contract.get("source_modules", ()), *contract.get("forbidden_modules", ())}
    return {module for module in modules if module.split(".")[0] in ("api", "fleet")}


def tree_files(root: Path = ROOT) -> list[Path]:
    """Return every file that is or would be committed: what git sees, or without git what lies there."""
    return _own_files() if root == ROOT else list_files(root)


@cache
def _own_files() -> list[Path]:
    """Return the files of this tree, which stand still while it is tested."""
    return list_files(ROOT)


def list_files(root: Path) -> list[Path]:
    """Return every file below `root` that is or would be committed."""
    listing = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    if (root / ".git").exists():
        found = subprocess.run(listing, cwd=root, capture_output=True, text=True, check=True).stdout
        return sorted(root / name for name in found.split("\0") if name and (root / name).is_file())
    return sorted(path for path in root.rglob("*") if path.is_file() and not _left_behind(path.relative_to(root)))


def _left_behind(path: Path) -> bool:
    """Return whether `path` is something a tool made: hidden folders such as the environment, caches, build output."""
    hidden_folder = any(part.startswith(".") and part != ".ci" for part in path.parts[:-1])
    return hidden_folder or any(Path(part).match(made) for part in path.parts for made in LEFT_BEHIND)


def sources(*, tests: bool = False) -> Iterator[tuple[str, str]]:
    """Yield (path from the root, text) of each Python file of the project; those under tests/ only on request."""
    for path in tree_files():
        name = path.relative_to(ROOT).as_posix()
        if path.suffix == ".py" and (tests or not name.startswith("tests/")):
            yield name, text_of(path)


@cache
def text_of(path: Path) -> str:
    """Return the text of a file of this tree, read once in a process."""
    return path.read_text()


@cache
def nodes_of(source: str) -> list[ast.AST]:
    """Return all nodes of a source in the order of `ast.walk`, its module first; parsed once in a process."""
    return list(ast.walk(ast.parse(source)))


def listed(faults: list[str]) -> str:
    """Return faults one a line, for the message of an assertion."""
    return "\n".join(["", *faults])
